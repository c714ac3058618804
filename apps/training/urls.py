"""Addresses of certificates and training."""

from django.urls import path

from apps.training import api, pages
from apps.training.credits import api as credits_api
from apps.training.credits import pages as credits_pages
from apps.training.lists import api as lists_api
from apps.training.lists import pages as lists_pages
from apps.training.scans import api as scans_api
from apps.training.scans import pages as scans_pages
from apps.training.today import api as today_api
from apps.training.today import pages as today_pages

F = "farms/<slug:farm>/"
C = F + "certificates/<int:certificate>/"
api_urlpatterns = [
    path(F + "certificates/", api.Certificates.as_view(), name="api_certificates"),
    path(C, api.OneCertificate.as_view(), name="api_certificate"),
    path(C + "suspend/", api.SuspendCertificate.as_view(), name="api_suspend_certificate"),
    path(C + "lift/", api.LiftSuspension.as_view(), name="api_lift_suspension"),
    path(F + "trainings/", api.Trainings.as_view(), name="api_trainings"),
    path(F + "trainings/check-list/", lists_api.CheckTrainingList.as_view(), name="api_check_training_list"),
    path(F + "trainings/list/", lists_api.RecordTrainingList.as_view(), name="api_record_training_list"),
    path(F + "trainings/<int:training>/strike/", api.StrikeTraining.as_view(), name="api_strike_training"),
    path(F + "cards/", api.Cards.as_view(), name="api_cards"),
    path(F + "cards/<int:person>/", api.OneCard.as_view(), name="api_card"),
    path(C + "scans/", scans_api.AddScan.as_view(), name="api_add_scan"),
    path(F + "card-scans/", scans_api.Scans.as_view(), name="api_scans"),
    path(F + "card-scans/<int:scan>/file/", scans_api.ScanFile.as_view(), name="api_scan_file"),
    path(F + "card-scans/<int:scan>/remove/", scans_api.RemoveScan.as_view(), name="api_remove_scan"),
    path(F + "credits/", credits_api.Credits.as_view(), name="api_credits"),
    path(F + "credits/<int:credit>/strike/", credits_api.StrikeCredit.as_view(), name="api_strike_credit"),
    path(F + "who-may/", today_api.WhoMay.as_view(), name="api_who_may"),
    path(F + "my-card/", api.MyCard.as_view(), name="api_my_card"),
]

P = "f/<slug:farm>/"
W = P + "cards/certificates/<int:certificate>/"
page_urlpatterns = [
    path(P + "cards/", pages.Cards.as_view(), name="cards"),
    path(P + "cards/<int:person>/", pages.OneCard.as_view(), name="card"),
    path(W + "scan/", scans_pages.AddScan.as_view(), name="add_scan"),
    path(P + "cards/scans/<int:scan>/file/", scans_pages.ScanFile.as_view(), name="scan_file"),
    path(P + "cards/scans/<int:scan>/remove/", scans_pages.RemoveScan.as_view(), name="remove_scan"),
    path(P + "cards/credits/new/", credits_pages.AddCredit.as_view(), name="add_credit"),
    path(P + "cards/credits/<int:credit>/strike/", credits_pages.StrikeCredit.as_view(), name="strike_credit"),
    path(P + "cards/today/", today_pages.WhoMay.as_view(), name="who_may"),
    path(P + "my-card/", pages.MyCard.as_view(), name="my_card"),
    path(P + "cards/certificates/new/", pages.AddCertificate.as_view(), name="add_certificate"),
    path(W + "edit/", pages.EditCertificate.as_view(), name="edit_certificate"),
    path(W + "suspend/", pages.SuspendCertificate.as_view(), name="suspend_certificate"),
    path(W + "lift/", pages.LiftSuspension.as_view(), name="lift_suspension"),
    path(P + "cards/trainings/list/", lists_pages.CheckList.as_view(), name="check_list"),
    path(P + "cards/trainings/list/record/", lists_pages.RecordList.as_view(), name="record_list"),
    path(P + "cards/trainings/new/", pages.AddTraining.as_view(), name="add_training"),
    path(P + "cards/trainings/<int:training>/strike/", pages.StrikeTraining.as_view(), name="strike_training"),
]
