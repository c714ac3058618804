"""Addresses of the weather."""

from django.urls import path

from apps.weather import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "readings/", api.WeatherReadings.as_view(), name="api_readings"),
    path(F + "readings/<int:reading>/", api.OneReading.as_view(), name="api_reading"),
    path(F + "sun/", api.Sun.as_view(), name="api_sun"),
]
page_urlpatterns = [path("f/<slug:farm>/weather/", pages.Weather.as_view(), name="weather")]
