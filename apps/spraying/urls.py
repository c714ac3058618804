"""Addresses of spraying."""

from django.urls import path

from apps.spraying import api, api_records, field_pages, pages

J = "farms/<slug:farm>/jobs/"
R = "farms/<slug:farm>/records/"
api_urlpatterns = [
    path(J, api.Jobs.as_view(), name="api_jobs"),
    path(J + "<int:job>/", api.OneJob.as_view(), name="api_job"),
    path(J + "<int:job>/check/", api.CheckJob.as_view(), name="api_check_job"),
    path(J + "<int:job>/mix/", api.JobMix.as_view(), name="api_job_mix"),
    path(J + "<int:job>/surroundings/", api.JobAround.as_view(), name="api_job_around"),
    path(J + "<int:job>/steps/", api.JobSteps.as_view(), name="api_job_steps"),
    path(J + "<int:job>/assign/", api.AssignJob.as_view(), name="api_assign_job"),
    path(J + "<int:job>/call-off/", api.CallOffJob.as_view(), name="api_call_off_job"),
    path(J + "<int:job>/start/", api.StartJob.as_view(), name="api_start_job"),
    path(J + "<int:job>/finish/", api.FinishJob.as_view(), name="api_finish_job"),
    path(J + "<int:job>/correct/", api.CorrectJob.as_view(), name="api_correct_job"),
    path(J + "<int:job>/report-late/", api.ReportJobLate.as_view(), name="api_report_job_late"),
    path(J + "<int:job>/read-back/", api.ReadBackJob.as_view(), name="api_read_back_job"),
    path(J + "<int:job>/sign/", api.SignJob.as_view(), name="api_sign_job"),
    path(J + "<int:job>/not-applied/", api.SignNotApplied.as_view(), name="api_sign_not_applied"),
    path(R, api_records.SprayRecords.as_view(), name="api_records"),
    path(R + "verify/", api_records.VerifySprayRecords.as_view(), name="api_verify_records"),
    path(R + "<int:seq>/", api_records.OneSprayRecord.as_view(), name="api_record"),
    path("farms/<slug:farm>/spray-settings/", api_records.FarmSpraySettings.as_view(), name="api_spray_settings"),
]

P = "f/<slug:farm>/jobs/"
page_urlpatterns = [
    path(P, pages.Jobs.as_view(), name="jobs"),
    path(P + "new/", pages.PlanJob.as_view(), name="plan"),
    path(P + "<int:job>/", pages.OneJob.as_view(), name="job"),
    path(P + "<int:job>/edit/", pages.EditJob.as_view(), name="edit"),
    path(P + "<int:job>/assign/", pages.AssignJob.as_view(), name="assign"),
    path(P + "<int:job>/call-off/", pages.CallOffJob.as_view(), name="call_off"),
    path(P + "<int:job>/start/", field_pages.StartJob.as_view(), name="start"),
    path(P + "<int:job>/finish/", field_pages.FinishJob.as_view(), name="finish"),
    path(P + "<int:job>/correct/", field_pages.CorrectJob.as_view(), name="correct"),
    path(P + "<int:job>/report-late/", field_pages.ReportJobLate.as_view(), name="report_late"),
    path(P + "<int:job>/sign/", field_pages.SignPage.as_view(), name="sign"),
    path(P + "<int:job>/not-applied/", field_pages.NotAppliedPage.as_view(), name="not_applied"),
    path(P + "<int:job>/signed/", field_pages.Signed.as_view(), name="signed"),
    path("f/<slug:farm>/records/", field_pages.Records.as_view(), name="records"),
    path("f/<slug:farm>/records/<int:seq>/", field_pages.Record.as_view(), name="record"),
    path("f/<slug:farm>/spray-settings/", pages.SpraySettingsPage.as_view(), name="settings"),
]
