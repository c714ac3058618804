"""Addresses of the weather."""

from django.urls import path

from apps.weather import api, pages

F = "farms/<slug:farm>/"
api_urlpatterns = [
    path(F + "readings/", api.WeatherReadings.as_view(), name="api_readings"),
    path(F + "readings/<int:reading>/", api.OneReading.as_view(), name="api_reading"),
    path(F + "rainfall/", api.RainReadings.as_view(), name="api_rainfall"),
    path(F + "rainfall/<int:rainfall>/withdraw/", api.WithdrawRainReading.as_view(), name="api_withdraw_rainfall"),
    path(F + "sun/", api.Sun.as_view(), name="api_sun"),
]
W = "f/<slug:farm>/weather/"
page_urlpatterns = [
    path(W, pages.Weather.as_view(), name="weather"),
    path(W + "rain/", pages.Rain.as_view(), name="rain"),
    path(W + "rain/<int:rainfall>/withdraw/", pages.WithdrawRain.as_view(), name="withdraw_rain"),
]
