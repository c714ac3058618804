from django.apps import AppConfig


class LandConfig(AppConfig):
    name = "apps.land"
