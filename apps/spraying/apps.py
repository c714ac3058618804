from django.apps import AppConfig


class SprayingConfig(AppConfig):
    name = "apps.spraying"
    verbose_name = "Spraying"
