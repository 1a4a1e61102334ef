"""Checks of settings and database, run by ``manage.py check`` and before the service starts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections

from shopcal import database


@register(Tags.security)
def check_settings(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Settings that are each right, but not together."""
    found: list[CheckMessage] = []
    if settings.DEBUG and not settings.EMBEDDED:
        found.append(
            Error(
                "SHOPCAL_DEBUG is on while DATABASE_URL names a server.",
                hint="Debug pages show settings and data to anyone: leave SHOPCAL_DEBUG out.",
                id="shopcal.E001",
            )
        )
    if not settings.EMBEDDED and not settings.HTTPS:
        found.append(
            Warning(
                "SHOPCAL_PUBLIC_URL does not begin with https://.",
                hint="Passwords and tokens would travel readable. Put a proxy with TLS in front.",
                id="shopcal.W001",
            )
        )
    if not settings.EMBEDDED and not settings.EMAIL_HOST:
        found.append(
            Warning(
                "No SHOPCAL_EMAIL_HOST: mail is written to files and reaches nobody.",
                id="shopcal.W002",
            )
        )
    return found


@register(Tags.database)
def check_guards(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """What the database must enforce itself.

    A warning only: ``migrate`` runs this check first and is what puts the guards back. Serving
    without them is refused by ``database.require_guards``.
    """
    found: list[CheckMessage] = []
    for alias in databases or ():
        connection = connections[alias]
        tables = set(connection.introspection.table_names())
        found += [
            Warning(
                f"The database lacks the guard {guard.name} on {guard.table}.",
                hint="Run “manage.py migrate”; the service does not start without it.",
                id="shopcal.W003",
            )
            for guard in database.missing(database.kept(), connection)
            if guard.table in tables
        ]
    return found
