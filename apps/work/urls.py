"""Addresses of work."""

from django.urls import path

from apps.work import api, pages

T = "farms/<slug:farm>/tasks/"
api_urlpatterns = [
    path(T, api.Tasks.as_view(), name="api_tasks"),
    path(T + "<int:task>/", api.OneTask.as_view(), name="api_task"),
    path(T + "<int:task>/start/", api.StartTask.as_view(), name="api_start_task"),
    path(T + "<int:task>/finish/", api.FinishTask.as_view(), name="api_finish_task"),
    path(T + "<int:task>/call-off/", api.CallOffTask.as_view(), name="api_call_off_task"),
]

P = "f/<slug:farm>/tasks/"
page_urlpatterns = [
    path(P, pages.Tasks.as_view(), name="tasks"),
    path(P + "new/", pages.PlanTask.as_view(), name="plan"),
    path(P + "<int:task>/", pages.OneTask.as_view(), name="task"),
    path(P + "<int:task>/edit/", pages.EditTask.as_view(), name="edit"),
    path(P + "<int:task>/start/", pages.StartTask.as_view(), name="start"),
    path(P + "<int:task>/finish/", pages.FinishTask.as_view(), name="finish"),
    path(P + "<int:task>/call-off/", pages.CallOffTask.as_view(), name="call_off"),
]
