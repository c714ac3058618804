from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate


class AuditConfig(AppConfig):
    name = "apps.audit"
    verbose_name = "Audit"

    def ready(self) -> None:
        from apps.audit import triggers

        # SQLite loses triggers whenever a migration rebuilds the table, so they are put
        # back after every migrate and checked at every start.
        post_migrate.connect(triggers.after_migrate, dispatch_uid="append_only_triggers")
        register(triggers.check_installed, "database", deploy=False)
