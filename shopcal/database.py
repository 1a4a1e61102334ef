"""Rules that the database itself enforces, kept in place on both back ends.

Some promises must hold whatever code runs: history is never rewritten, a resource is never taken
twice. They are triggers and constraints. Django knows nothing of them, and on SQLite every change
of a table copies it and **silently drops its triggers**. So they are put back after every
``migrate``, and the service refuses to start without them.

An app says once what it needs, in ``AppConfig.ready``::

    GUARDS = (Guard(name="hold_overlap", table="bays_hold", sqlite="CREATE TRIGGER …",
                    postgresql=""),)   # "" where a back end enforces it another way

    def ready(self) -> None:
        database.keep_installed(self, GUARDS)

and puts ``database.guards_operation(GUARDS)`` at the end of the migration that makes the table, so
that a migration that fills it finds them in place. Rules:

- ``sqlite`` is one ``CREATE TRIGGER`` statement for the trigger ``name``;
- ``postgresql`` is any number of statements, of which one makes a trigger ``name`` on ``table``;
- a changed text is noticed and installed anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.db import connections, migrations
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models.signals import post_migrate


class GuardsMissing(RuntimeError):
    """The database lacks a rule without which the service must not run."""


@dataclass(frozen=True)
class Guard:
    """One trigger, as each back end writes it; ``table`` must exist before it is installed."""

    name: str
    table: str
    sqlite: str
    postgresql: str

    def statements(self, vendor: str) -> str:
        """The SQL for this back end, "" where it needs none."""
        return {"sqlite": self.sqlite, "postgresql": self.postgresql}.get(vendor, "").strip()

    def mark(self, vendor: str) -> str:
        """A digest of the text, to notice one installed from an older text."""
        return hashlib.sha256(self.statements(vendor).encode()).hexdigest()


_kept: dict[str, Guard] = {}


def keep_installed(app: AppConfig, guards: Iterable[Guard]) -> None:
    """Install these after every ``migrate`` of ``app`` and count them among the required."""
    guards = tuple(guards)
    _kept.update({guard.name: guard for guard in guards})

    def reinstall(*, using: str, **_: Any) -> None:
        install(guards, connections[using])

    post_migrate.connect(
        reinstall, sender=app, weak=False, dispatch_uid=f"shopcal.database:{app.label}"
    )


def kept() -> tuple[Guard, ...]:
    """Every guard the installed apps ask for."""
    return tuple(_kept.values())


def guards_operation(guards: Iterable[Guard]) -> migrations.RunPython:
    """A migration step that installs the guards, and removes them when undone."""
    guards = tuple(guards)

    def forwards(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        install(guards, editor.connection)

    def backwards(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        remove(guards, editor.connection)

    return migrations.RunPython(forwards, backwards)


def install(guards: Iterable[Guard], connection: BaseDatabaseWrapper) -> None:
    """Install what is missing or out of date, where the table exists already."""
    wanted = missing(guards, connection)
    tables = set(connection.introspection.table_names()) if wanted else set()
    with connection.cursor() as cursor:
        for guard in wanted:
            if guard.table not in tables:
                continue
            _drop(guard, connection, cursor)
            cursor.execute(guard.statements(connection.vendor))
            if connection.vendor == "postgresql":
                cursor.execute(
                    f"COMMENT ON TRIGGER {guard.name} ON {guard.table}"
                    f" IS '{guard.mark('postgresql')}'"
                )


def remove(guards: Iterable[Guard], connection: BaseDatabaseWrapper) -> None:
    """Remove the guards; for undoing a migration and for emptying a test database."""
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for guard in guards:
            if guard.table in tables and guard.statements(connection.vendor):
                _drop(guard, connection, cursor)


def missing(guards: Iterable[Guard], connection: BaseDatabaseWrapper) -> list[Guard]:
    """The guards this database lacks, or has switched off, or has from an older text."""
    wanted = [guard for guard in guards if guard.statements(connection.vendor)]
    present = _present(connection) if wanted else {}
    return [g for g in wanted if present.get((g.table, g.name)) != g.mark(connection.vendor)]


def require_guards(using: str = "default") -> None:
    """Do nothing where every guard is in place; call it before serving.

    Raises:
        GuardsMissing: naming them, with what to do.
    """
    lacking = missing(kept(), connections[using])
    if lacking:
        names = ", ".join(sorted(guard.name for guard in lacking))
        raise GuardsMissing(
            f"The database lacks {names}: run “manage.py migrate” once, then start again."
        )


def _drop(guard: Guard, connection: BaseDatabaseWrapper, cursor: Any) -> None:
    on_table = f" ON {guard.table}" if connection.vendor == "postgresql" else ""
    cursor.execute(f"DROP TRIGGER IF EXISTS {guard.name}{on_table}")


def _present(connection: BaseDatabaseWrapper) -> dict[tuple[str, str], str]:
    """Mark of every trigger that is there and switched on, by table and name."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, name, sql FROM sqlite_master WHERE type = 'trigger'")
            return {
                (table, name): hashlib.sha256(sql.strip().encode()).hexdigest()
                for table, name, sql in cursor.fetchall()
            }
        cursor.execute(
            "SELECT c.relname, t.tgname, coalesce(obj_description(t.oid, 'pg_trigger'), '')"
            " FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
            " WHERE NOT t.tgisinternal AND t.tgenabled <> 'D' AND pg_table_is_visible(c.oid)"
        )
        return {(table, name): mark for table, name, mark in cursor.fetchall()}
