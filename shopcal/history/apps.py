"""What happened, in an append-only chain per shop."""

from django.apps import AppConfig


class HistoryConfig(AppConfig):
    name = "shopcal.history"
    label = "history"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "History"

    def ready(self) -> None:
        from shopcal import database
        from shopcal.history.guards import GUARDS

        database.keep_installed(self, GUARDS)
