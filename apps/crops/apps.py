from django.apps import AppConfig


class CropsConfig(AppConfig):
    name = "apps.crops"
