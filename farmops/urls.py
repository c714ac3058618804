"""The whole site on one screen."""

from __future__ import annotations

from importlib import import_module

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from apps.reminders import open_doors
from farmops import offline, views

# Addresses are tried in this order, so the board, which is asked all day, stands first. Audit has no door of its own:
# its page stands in reports.
APPS = [
    "safety",
    "people",
    "land",
    "crops",
    "products",
    "inventory",
    "equipment",
    "training",
    "weather",
    "work",
    "spraying",
    "reminders",
    "dashboard",
    "reports",
]
_doors = [import_module(f"apps.{a}.urls") for a in APPS]

urlpatterns = [
    path("", views.home, name="home"),
    path("healthz", views.healthz, name="healthz"),
    path("readyz", views.readyz, name="readyz"),
    path("sweepz", open_doors.sweep, name="sweepz"),
    path("metrics", open_doors.numbers, name="metrics"),
    path("calendar/<str:secret>.ics", open_doors.calendar, name="calendar"),
    path("language/", views.set_language, name="set_language"),
    path("worker.js", offline.worker, name="worker"),
    path("no-connection/", offline.no_connection, name="no_connection"),
    path("api/v1/schema/", SpectacularAPIView.as_view(authentication_classes=[], permission_classes=[]), name="schema"),
    path("api/v1/", include([p for door in _doors for p in getattr(door, "api_urlpatterns", [])])),
    *[
        path("", include((door.page_urlpatterns, door.__name__.split(".")[1])))
        for door in _doors
        if getattr(door, "page_urlpatterns", None)
    ],
]

handler400 = views.bad_request
handler403 = views.forbidden
handler404 = views.not_found
handler500 = views.server_error
