"""What happens to a vehicle: booking, procedures, calibrations, measurements."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from bays.transfer import register
        from jobs.guards import GUARDS
        from jobs.transfer import procedures, vehicles
        from shopcal import database

        database.keep_installed(self, GUARDS)
        register(vehicles.SECTION)
        register(procedures.SECTION)
