"""The physical world and its time: floor, equipment, people, holds."""

from django.apps import AppConfig


class BaysConfig(AppConfig):
    name = "bays"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Bays"

    def ready(self) -> None:
        from bays.guards import GUARDS, SURVEY_GUARDS
        from bays.transfer.physical import register_sections
        from shopcal import database

        database.keep_installed(self, (*GUARDS, *SURVEY_GUARDS))
        register_sections()
