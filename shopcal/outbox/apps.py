"""Finds the handlers and timers of every app."""

from django.apps import AppConfig
from django.utils.module_loading import autodiscover_modules


class OutboxConfig(AppConfig):
    name = "shopcal.outbox"
    label = "outbox"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Outbox"

    def ready(self) -> None:
        # Every process knows every kind: workers to handle it, pages to refuse an unknown one.
        autodiscover_modules("tasks")
