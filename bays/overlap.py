"""No resource is ever held twice at once: the database itself refuses it, on both back ends.

PostgreSQL has an exclusion constraint over resource and time range, made by a migration operation
and not by ``Meta.constraints``, since Django's own class breaks SQLite's table remakes. SQLite has
triggers that refuse with the same name. Ranges are half-open, so one hold may start the moment
another ends.
"""

from __future__ import annotations

from typing import Any

from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from shopcal.database import Guard

CONSTRAINT = "hold_no_overlap"
_TABLE = "bays_hold"

# Times are ISO text of one form on SQLite, so they compare as text. NEW.id is not yet a row's id
# before an insert and is the row's own before an update.
_REFUSE_OVERLAP = f"""WHEN EXISTS (
  SELECT 1 FROM {_TABLE}
  WHERE resource_id = NEW.resource_id AND id <> NEW.id
    AND starts_at < NEW.ends_at AND NEW.starts_at < ends_at
)
BEGIN SELECT RAISE(ABORT, '{CONSTRAINT}'); END"""  # noqa: S608 - both names are constants of this module

GUARDS = (
    Guard(
        name=f"{CONSTRAINT}_insert",
        table=_TABLE,
        sqlite=f"CREATE TRIGGER {CONSTRAINT}_insert BEFORE INSERT ON {_TABLE}\n{_REFUSE_OVERLAP}",
        postgresql="",
    ),
    Guard(
        name=f"{CONSTRAINT}_update",
        table=_TABLE,
        sqlite=(
            f"CREATE TRIGGER {CONSTRAINT}_update"
            f" BEFORE UPDATE OF resource_id, starts_at, ends_at ON {_TABLE}\n{_REFUSE_OVERLAP}"
        ),
        postgresql="",
    ),
)


def exclusion_operation() -> migrations.RunPython:
    """A migration step that makes PostgreSQL's constraint; SQLite has the guards instead."""

    def forwards(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        if editor.connection.vendor == "postgresql":
            editor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
            editor.execute(
                f"ALTER TABLE {_TABLE} ADD CONSTRAINT {CONSTRAINT} EXCLUDE USING gist"
                " (resource_id WITH =, tstzrange(starts_at, ends_at, '[)') WITH &&)"
            )

    def backwards(apps: Any, editor: BaseDatabaseSchemaEditor) -> None:
        if editor.connection.vendor == "postgresql":
            editor.execute(f"ALTER TABLE {_TABLE} DROP CONSTRAINT IF EXISTS {CONSTRAINT}")

    return migrations.RunPython(forwards, backwards)


def is_overlap(error: Exception) -> bool:
    """Whether a database error says that a resource would have been held twice."""
    return CONSTRAINT in str(error)
