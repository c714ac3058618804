from django.apps import AppConfig


class TrainingConfig(AppConfig):
    name = "apps.training"
    verbose_name = "Certificates and training"
