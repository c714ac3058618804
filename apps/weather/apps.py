from django.apps import AppConfig


class WeatherConfig(AppConfig):
    name = "apps.weather"
    verbose_name = "Weather"
