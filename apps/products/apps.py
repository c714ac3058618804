from django.apps import AppConfig
from django.core.checks import register
from django.db.models.signals import post_migrate


class ProductsConfig(AppConfig):
    name = "apps.products"
    verbose_name = "Products"

    def ready(self) -> None:
        from apps.products import triggers

        # SQLite loses triggers whenever a migration rebuilds the table.
        post_migrate.connect(triggers.after_migrate, dispatch_uid="checked_label_trigger")
        register(triggers.check_installed, "database", deploy=False)
