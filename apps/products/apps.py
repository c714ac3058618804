from django.apps import AppConfig


class ProductsConfig(AppConfig):
    name = "apps.products"
    verbose_name = "Products"

    def ready(self) -> None:
        from apps.products import triggers  # noqa: F401  registers its guard
