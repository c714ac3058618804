"""Addresses of certificates and training."""

from django.urls import path

from apps.training import api, pages

F = "farms/<slug:farm>/"
C = F + "certificates/<int:certificate>/"
api_urlpatterns = [
    path(F + "certificates/", api.Certificates.as_view(), name="api_certificates"),
    path(C, api.OneCertificate.as_view(), name="api_certificate"),
    path(C + "suspend/", api.SuspendCertificate.as_view(), name="api_suspend_certificate"),
    path(C + "lift/", api.LiftSuspension.as_view(), name="api_lift_suspension"),
    path(F + "trainings/", api.Trainings.as_view(), name="api_trainings"),
    path(F + "trainings/<int:training>/strike/", api.StrikeTraining.as_view(), name="api_strike_training"),
    path(F + "cards/", api.Cards.as_view(), name="api_cards"),
    path(F + "cards/<int:person>/", api.OneCard.as_view(), name="api_card"),
    path(F + "my-card/", api.MyCard.as_view(), name="api_my_card"),
]

P = "f/<slug:farm>/"
W = P + "cards/certificates/<int:certificate>/"
page_urlpatterns = [
    path(P + "cards/", pages.Cards.as_view(), name="cards"),
    path(P + "cards/<int:person>/", pages.OneCard.as_view(), name="card"),
    path(P + "my-card/", pages.MyCard.as_view(), name="my_card"),
    path(P + "cards/certificates/new/", pages.AddCertificate.as_view(), name="add_certificate"),
    path(W + "edit/", pages.EditCertificate.as_view(), name="edit_certificate"),
    path(W + "suspend/", pages.SuspendCertificate.as_view(), name="suspend_certificate"),
    path(W + "lift/", pages.LiftSuspension.as_view(), name="lift_suspension"),
    path(P + "cards/trainings/new/", pages.AddTraining.as_view(), name="add_training"),
    path(P + "cards/trainings/<int:training>/strike/", pages.StrikeTraining.as_view(), name="strike_training"),
]
