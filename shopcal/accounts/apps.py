"""Who is who: people, shops, and who may do what."""

from django.apps import AppConfig


class AccountsConfig(AppConfig):
    name = "shopcal.accounts"
    label = "accounts"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Accounts"

    def ready(self) -> None:
        from shopcal import checks  # noqa: F401  registers itself
