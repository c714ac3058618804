from django.apps import AppConfig


class SafetyConfig(AppConfig):
    name = "apps.safety"
    verbose_name = "Field board"
