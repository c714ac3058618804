"""Addresses of equipment."""

from django.urls import path

from apps.equipment import api, pages
from apps.equipment.sums import api as sums
from apps.equipment.sums import pages as sum_pages

F = "farms/<slug:farm>/"
S = F + "sprayers/<int:sprayer>/"
api_urlpatterns = [
    path(F + "sprayers/", api.Sprayers.as_view(), name="api_sprayers"),
    path(S, api.OneSprayer.as_view(), name="api_sprayer"),
    path(S + "nozzles/", api.ChangeNozzles.as_view(), name="api_change_nozzles"),
    path(S + "retire/", api.RetireSprayer.as_view(), name="api_retire_sprayer"),
    path(S + "catches/", api.JudgeReadings.as_view(), name="api_judge_catches"),
    path(S + "calibrations/", api.SprayerCalibrations.as_view(), name="api_record_calibration"),
    path(F + "calibrations/", api.Calibrations.as_view(), name="api_calibrations"),
    path(F + "calibrations/<int:calibration>/", api.OneCalibration.as_view(), name="api_calibration"),
    path(F + "calibrations/<int:calibration>/void/", api.VoidCalibration.as_view(), name="api_void_calibration"),
    path(F + "calculators/gpa/", api.RateSum.as_view(), name="api_rate_sum"),
    path(F + "calculators/mph/", api.SpeedSum.as_view(), name="api_speed_sum"),
    path(F + "calculators/loads/", api.LoadsSum.as_view(), name="api_loads_sum"),
    *sums.addresses(F),
]

P = "f/<slug:farm>/"
M = P + "sprayers/<int:sprayer>/"
page_urlpatterns = [
    path(P + "sprayers/", pages.Sprayers.as_view(), name="sprayers"),
    path(P + "sprayers/new/", pages.AddSprayer.as_view(), name="add_sprayer"),
    path(M, pages.OneSprayer.as_view(), name="sprayer"),
    path(M + "edit/", pages.EditSprayer.as_view(), name="edit_sprayer"),
    path(M + "nozzles/", pages.ChangeNozzles.as_view(), name="change_nozzles"),
    path(M + "retire/", pages.RetireSprayer.as_view(), name="retire_sprayer"),
    path(M + "calibrate/", pages.Calibrate.as_view(), name="calibrate"),
    path(P + "sums/", sum_pages.Sums.as_view(), name="sums"),
    path(P + "sums/<slug:sum>/", sum_pages.OneSum.as_view(), name="sum"),
    path(P + "calibrations/<int:calibration>/", pages.OneCalibration.as_view(), name="calibration"),
    path(P + "calibrations/<int:calibration>/void/", pages.VoidCalibration.as_view(), name="void_calibration"),
]
