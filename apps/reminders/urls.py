"""Addresses of reminders."""

from django.urls import path

from apps.reminders import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "notices/", api.Notices.as_view(), name="api_notices"),
    path(F + "notices/seen/", api.AllSeen.as_view(), name="api_notices_seen"),
    path(F + "notices/<int:notice>/seen/", api.NoticeSeen.as_view(), name="api_notice_seen"),
    path(F + "sweep/", api.Sweep.as_view(), name="api_sweep"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "notices/", pages.Notices.as_view(), name="notices"),
    path(P + "notices/seen/", pages.AllSeen.as_view(), name="all_seen"),
    path(P + "notices/<int:notice>/seen/", pages.Seen.as_view(), name="seen"),
]
