"""What happens to a vehicle: booking, procedures, calibrations, measurements."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from bays.selectors.holders import name_steps_with
        from bays.transfer import register
        from jobs.guards import GUARDS
        from jobs.selectors.holders import names_of_steps
        from jobs.transfer import procedures, vehicles
        from shopcal import database

        database.keep_installed(self, GUARDS)
        register(vehicles.SECTION)
        register(procedures.SECTION)
        name_steps_with(names_of_steps)
