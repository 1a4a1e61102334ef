"""What is told: records, figures, reminders, webhooks."""

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Reports"

    def ready(self) -> None:
        from reports.guards import GUARDS
        from shopcal import database

        # Handlers and timers are in ``reports.tasks``, which the outbox finds by itself.
        database.keep_installed(self, GUARDS)
