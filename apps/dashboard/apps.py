from django.apps import AppConfig


class DashboardConfig(AppConfig):
    name = "apps.dashboard"
    verbose_name = "Home pages and charts"
