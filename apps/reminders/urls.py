"""Addresses of reminders."""

from django.urls import path

from apps.reminders import api, pages, sources

# What a notice weighs is said where it is told. Read here, every process that serves pages knows it too.
sources.load_all()

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "notices/", api.Notices.as_view(), name="api_notices"),
    path(F + "notices/seen/", api.AllSeen.as_view(), name="api_notices_seen"),
    path(F + "notices/<int:notice>/seen/", api.NoticeSeen.as_view(), name="api_notice_seen"),
    path(F + "notice-wishes/", api.Wishes.as_view(), name="api_notice_wishes"),
    path(F + "calendar/", api.Calendar.as_view(), name="api_calendar"),
    path(F + "webhooks/", api.Webhooks.as_view(), name="api_webhooks"),
    path(F + "webhooks/<int:webhook>/", api.Webhook.as_view(), name="api_webhook"),
    path(F + "webhooks/<int:webhook>/secret/", api.WebhookSecret.as_view(), name="api_webhook_secret"),
    path(F + "sweep/", api.Sweep.as_view(), name="api_sweep"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P + "notices/", pages.Notices.as_view(), name="notices"),
    path(P + "notices/seen/", pages.AllSeen.as_view(), name="all_seen"),
    path(P + "notices/<int:notice>/seen/", pages.Seen.as_view(), name="seen"),
    path(P + "notices/wishes/", pages.Wishes.as_view(), name="wishes"),
    path(P + "notices/calendar/", pages.Calendar.as_view(), name="calendar"),
    path(P + "webhooks/", pages.Webhooks.as_view(), name="webhooks"),
    path(P + "webhooks/<int:webhook>/switch/", pages.SwitchWebhook.as_view(), name="switch_webhook"),
    path(P + "webhooks/<int:webhook>/secret/", pages.RenewSecret.as_view(), name="renew_secret"),
    path(P + "sweep/", pages.Sweep.as_view(), name="sweep"),
]
