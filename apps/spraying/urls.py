"""Addresses of spraying."""

from django.urls import path

from apps.spraying import api, api_records, field_pages, pages
from apps.spraying.amending import api as amending
from apps.spraying.amending import pages as amending_pages
from apps.spraying.bringing import api as bringing
from apps.spraying.bringing import pages as bringing_pages
from apps.spraying.display import api as display
from apps.spraying.display import pages as display_pages
from apps.spraying.instead import api as instead
from apps.spraying.instead import pages as instead_pages
from apps.spraying.mix import api as mix
from apps.spraying.mix import pages as mix_pages
from apps.spraying.planting import api as planting
from apps.spraying.planting import pages as planting_pages
from apps.spraying.policies import api as policies
from apps.spraying.policies import pages as policy_pages
from apps.spraying.programs import api as programs_api
from apps.spraying.programs import pages as program_pages
from apps.spraying.programs import writing_pages as program_writing
from apps.spraying.records import api as records
from apps.spraying.records import pages as records_pages
from apps.spraying.why import api as why
from apps.spraying.why import pages as why_pages

J = "farms/<slug:farm>/jobs/"
R = "farms/<slug:farm>/records/"
A = "farms/<slug:farm>/spray-advice/"
B = "farms/<slug:farm>/blocks/<int:block>/"
api_urlpatterns = [
    path(J, api.Jobs.as_view(), name="api_jobs"),
    path(J + "check/", instead.CheckMix.as_view(), name="api_check_mix"),
    path(J + "first-evening/", instead.FirstEvening.as_view(), name="api_first_evening"),
    path(J + "explain/", why.ExplainMix.as_view(), name="api_explain_mix"),
    path(J + "<int:job>/why/", why.ExplainJob.as_view(), name="api_explain_job"),
    path(J + "<int:job>/instead/", instead.JobInstead.as_view(), name="api_job_instead"),
    path(J + "<int:job>/adopt/", instead.AdoptWay.as_view(), name="api_adopt_way"),
    path(J + "<int:job>/first-evening/", instead.JobFirstEvening.as_view(), name="api_job_first_evening"),
    path(J + "<int:job>/", api.OneJob.as_view(), name="api_job"),
    path(J + "<int:job>/check/", api.CheckJob.as_view(), name="api_check_job"),
    path(J + "<int:job>/mix/", api.JobMix.as_view(), name="api_job_mix"),
    path(J + "<int:job>/mix-sheet/", mix.JobMixSheet.as_view(), name="api_mix_sheet"),
    path(J + "<int:job>/mix-sheet/paper/", mix.MixSheetPaper.as_view(), name="api_mix_sheet_paper"),
    path(J + "<int:job>/mix-sheet/ticks/", mix.MixTicks.as_view(), name="api_mix_ticks"),
    path("farms/<slug:farm>/displays/", display.Displays.as_view(), name="api_displays"),
    path(J + "<int:job>/display/", display.JobDisplay.as_view(), name="api_display"),
    path(J + "<int:job>/display/paper/", display.DisplayPaper.as_view(), name="api_display_paper"),
    path(J + "<int:job>/display/put-up/", display.PutUpDisplay.as_view(), name="api_put_up_display"),
    path(J + "<int:job>/display/take-down/", display.TakeDownDisplay.as_view(), name="api_take_down_display"),
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
    path(J + "<int:job>/amend/", amending.AmendJob.as_view(), name="api_amend_job"),
    path(J + "<int:job>/void/", amending.VoidSignature.as_view(), name="api_void_signature"),
    path(J + "<int:job>/editions/", amending.JobEditions.as_view(), name="api_editions"),
    path(J + "<int:job>/ask-correction/", amending.AskCorrection.as_view(), name="api_ask_correction"),
    path(
        "farms/<slug:farm>/correction-requests/",
        amending.CorrectionRequests.as_view(),
        name="api_correction_requests",
    ),
    path(
        "farms/<slug:farm>/correction-requests/<int:asked>/decline/",
        amending.DeclineCorrection.as_view(),
        name="api_decline_correction",
    ),
    path(R, api_records.SprayRecords.as_view(), name="api_records"),
    path("farms/<slug:farm>/past-applications/", bringing.BroughtSprays.as_view(), name="api_brought"),
    path("farms/<slug:farm>/past-applications/files/", bringing.BroughtFiles.as_view(), name="api_brought_files"),
    path("farms/<slug:farm>/past-applications/check/", bringing.CheckBrought.as_view(), name="api_check_brought"),
    path("farms/<slug:farm>/record-rules/", records.RecordRules.as_view(), name="api_record_rules"),
    path("farms/<slug:farm>/record-rules/<slug:code>/", records.OneRecordRule.as_view(), name="api_record_rule"),
    path("farms/<slug:farm>/loose-ends/", records.LooseEnds.as_view(), name="api_loose_ends"),
    path(R + "<int:seq>/rules/", records.RecordStandings.as_view(), name="api_record_standings"),
    path(R + "<int:seq>/notes/", records.ExplainRecord.as_view(), name="api_record_notes"),
    path(R + "head/", api_records.ChainHead.as_view(), name="api_chain_head"),
    path(R + "verify/", api_records.VerifySprayRecords.as_view(), name="api_verify_records"),
    path(R + "<int:seq>/", api_records.OneSprayRecord.as_view(), name="api_record"),
    path(B + "planting-check/", planting.PlantingCheck.as_view(), name="api_check_planting"),
    path(B + "planting-answers/", planting.PlannedPlantings.as_view(), name="api_planting_answers"),
    path(A, policies.Advice.as_view(), name="api_advice"),
    path(A + "copy/", policies.CopyAdvice.as_view(), name="api_copy_advice"),
    path(A + "follow/", policies.FollowShipped.as_view(), name="api_follow_advice"),
    path(A + "rules/", policies.AdviceRules.as_view(), name="api_add_advice"),
    path(A + "rules/<int:rule>/", policies.OneAdviceRule.as_view(), name="api_advice_rule"),
    path(A + "rules/<int:rule>/drop/", policies.DropAdvice.as_view(), name="api_drop_advice"),
    path("farms/<slug:farm>/spray-settings/", api_records.FarmSpraySettings.as_view(), name="api_spray_settings"),
]

P = "f/<slug:farm>/jobs/"
page_urlpatterns = [
    path(P, pages.Jobs.as_view(), name="jobs"),
    path(P + "new/", pages.PlanJob.as_view(), name="plan"),
    path(P + "<int:job>/", pages.OneJob.as_view(), name="job"),
    path(P + "<int:job>/mix/", mix_pages.MixSheetPage.as_view(), name="mix_sheet"),
    path(P + "<int:job>/mix/paper/", mix_pages.MixSheetPaper.as_view(), name="mix_sheet_pdf"),
    path("f/<slug:farm>/displays/", display_pages.Displays.as_view(), name="displays"),
    path(P + "<int:job>/display/", display_pages.JobDisplay.as_view(), name="job_display"),
    path(P + "<int:job>/display/paper/", display_pages.DisplayPaper.as_view(), name="display_pdf"),
    path(P + "<int:job>/display/take-down/", display_pages.TakeDownDisplay.as_view(), name="take_down_display"),
    path(P + "<int:job>/why/", why_pages.WhyMayI.as_view(), name="why"),
    path(P + "<int:job>/adopt/", instead_pages.AdoptWay.as_view(), name="adopt"),
    path(P + "<int:job>/first-evening/", instead_pages.FirstEvening.as_view(), name="first_evening"),
    path(P + "<int:job>/edit/", pages.EditJob.as_view(), name="edit"),
    path(P + "<int:job>/assign/", pages.AssignJob.as_view(), name="assign"),
    path(P + "<int:job>/call-off/", pages.CallOffJob.as_view(), name="call_off"),
    path(P + "<int:job>/start/", field_pages.StartJob.as_view(), name="start"),
    path(P + "<int:job>/finish/", field_pages.FinishJob.as_view(), name="finish"),
    path(P + "<int:job>/correct/", field_pages.CorrectJob.as_view(), name="correct"),
    path(P + "<int:job>/report-late/", field_pages.ReportJobLate.as_view(), name="report_late"),
    path(P + "<int:job>/sign/", field_pages.SignPage.as_view(), name="sign"),
    path(P + "<int:job>/not-applied/", field_pages.NotAppliedPage.as_view(), name="not_applied"),
    path(P + "<int:job>/amend/", amending_pages.AmendPage.as_view(), name="amend"),
    path(P + "<int:job>/void/", amending_pages.VoidPage.as_view(), name="void"),
    path(P + "<int:job>/editions/", amending_pages.Editions.as_view(), name="editions"),
    path(P + "<int:job>/ask-correction/", amending_pages.AskPage.as_view(), name="ask_correction"),
    path(
        "f/<slug:farm>/correction-requests/<int:asked>/decline/",
        amending_pages.DeclinePage.as_view(),
        name="decline_correction",
    ),
    path("f/<slug:farm>/records/past/", bringing_pages.Bring.as_view(), name="bring"),
    path("f/<slug:farm>/records/past/all/", bringing_pages.BringConfirmed.as_view(), name="bring_confirmed"),
    path("f/<slug:farm>/records/past/<int:file>/", bringing_pages.Brought.as_view(), name="brought"),
    path("f/<slug:farm>/records/missing/", records_pages.LooseEnds.as_view(), name="loose_ends"),
    path("f/<slug:farm>/records/rules/", records_pages.RecordRules.as_view(), name="record_rules"),
    path("f/<slug:farm>/records/rules/new/", records_pages.AddRecordRule.as_view(), name="add_record_rule"),
    path("f/<slug:farm>/records/<int:seq>/rules/", records_pages.ExplainRecord.as_view(), name="explain_record"),
    path("f/<slug:farm>/records/proof/", field_pages.Proof.as_view(), name="proof"),
    path(P + "<int:job>/signed/", field_pages.Signed.as_view(), name="signed"),
    path("f/<slug:farm>/records/", field_pages.Records.as_view(), name="records"),
    path("f/<slug:farm>/records/<int:seq>/", field_pages.Record.as_view(), name="record"),
    path("f/<slug:farm>/blocks/<int:block>/planting/", planting_pages.PlantingPage.as_view(), name="planting"),
    path("f/<slug:farm>/spray-advice/", policy_pages.AdvicePage.as_view(), name="advice"),
    path("f/<slug:farm>/spray-advice/new/", policy_pages.NewAdvice.as_view(), name="new_advice"),
    path("f/<slug:farm>/spray-advice/<int:rule>/", policy_pages.EditAdvice.as_view(), name="edit_advice"),
    path("f/<slug:farm>/spray-settings/", pages.SpraySettingsPage.as_view(), name="settings"),
]

S = "farms/<slug:farm>/programs/"
api_urlpatterns += [
    path(S, programs_api.Programs.as_view(), name="api_programs"),
    path(S + "<int:program>/", programs_api.OneProgram.as_view(), name="api_program"),
    path(S + "<int:program>/put-away/", programs_api.PutProgramAway.as_view(), name="api_put_program_away"),
    path(S + "<int:program>/course/", programs_api.ProgramCourse.as_view(), name="api_program_course"),
    path(S + "<int:program>/check/", programs_api.CheckProgram.as_view(), name="api_check_program"),
    path(S + "<int:program>/decisions/", programs_api.ProgramDecisions.as_view(), name="api_program_decisions"),
    path(S + "<int:program>/jobs/", programs_api.PlanProgramJob.as_view(), name="api_plan_program_job"),
]

G = "f/<slug:farm>/programs/"
page_urlpatterns += [
    path(G, program_pages.ProgramList.as_view(), name="programs"),
    path(G + "new/", program_writing.SetUpProgram.as_view(), name="set_up_program"),
    path(G + "<int:program>/", program_pages.OneProgram.as_view(), name="program"),
    path(G + "<int:program>/edit/", program_writing.EditProgram.as_view(), name="edit_program"),
    path(G + "<int:program>/passes/new/", program_writing.AddPass.as_view(), name="add_pass"),
    path(G + "<int:program>/passes/<int:pass_no>/", program_writing.EditPass.as_view(), name="edit_pass"),
    path(G + "<int:program>/check/", program_pages.CheckPage.as_view(), name="check_program"),
    path(G + "<int:program>/decide/", program_writing.Decide.as_view(), name="decide"),
    path(G + "<int:program>/put-away/", program_pages.PutProgramAway.as_view(), name="put_program_away"),
    path(G + "<int:program>/blocks/<int:block>/plan/", program_pages.PlanWindow.as_view(), name="plan_window"),
]
