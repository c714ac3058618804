"""Addresses of the home pages and charts."""

from django.urls import path

from apps.dashboard import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "today/", api.Today.as_view(), name="api_today"),
    path(F + "my-day/", api.MyDay.as_view(), name="api_my_day"),
    path(F + "charts/", api.Charts.as_view(), name="api_charts"),
    path(F + "charts/<slug:name>/", api.OneChart.as_view(), name="api_chart"),
]

P = "f/<slug:farm>/"
page_urlpatterns = [
    path(P, pages.Home.as_view(), name="home"),
    path(P + "charts/", pages.Charts.as_view(), name="charts"),
    path(P + "charts/<slug:name>/csv/", pages.ChartCsv.as_view(), name="chart_csv"),
]
