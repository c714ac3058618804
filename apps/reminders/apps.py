from django.apps import AppConfig
from django.core.checks import Tags, register


class RemindersConfig(AppConfig):
    name = "apps.reminders"
    verbose_name = "Reminders"

    def ready(self) -> None:
        from apps.reminders import sources

        register(sources.check_sources, Tags.compatibility, deploy=True)
