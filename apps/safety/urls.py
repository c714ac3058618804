"""Addresses of the board."""

from django.urls import path

from apps.safety import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "board/", api.Board.as_view(), name="api_board"),
    path(F + "activities/", api.Activities.as_view(), name="api_activities"),
    path(F + "blocks/<int:block>/entry/", api.Entry.as_view(), name="api_entry"),
    path(F + "blocks/<int:block>/harvest/", api.HarvestHold.as_view(), name="api_harvest"),
    path(F + "blocks/<int:block>/closures/", api.BlockClosures.as_view(), name="api_block_closures"),
    path(F + "closures/<int:closure>/attest/", api.Attest.as_view(), name="api_attest"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "board/", pages.BoardPage.as_view(), name="board"),
    path(P + "blocks/<int:block>/may-i-enter/", pages.MayEnter.as_view(), name="may_enter"),
    path(P + "blocks/<int:block>/confirm/", pages.Confirm.as_view(), name="confirm"),
]
