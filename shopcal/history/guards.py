"""Events are never changed and never removed: the database itself says so."""

from __future__ import annotations

from shopcal.database import Guard

_TABLE = "history_event"
_SAYS = "history is append-only: an event is never changed or removed"

_FUNCTION = f"""
CREATE OR REPLACE FUNCTION history_refuses() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""


def _guard(name: str, act: str) -> Guard:
    return Guard(
        name=name,
        table=_TABLE,
        sqlite=(
            f"CREATE TRIGGER {name} BEFORE {act} ON {_TABLE}\n"
            f"BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"
        ),
        postgresql=(
            f"{_FUNCTION}CREATE TRIGGER {name} BEFORE {act} ON {_TABLE}"
            f" FOR EACH ROW EXECUTE FUNCTION history_refuses()"
        ),
    )


# SQLite has no TRUNCATE: it empties a table by DELETE, which fires the row trigger.
_TRUNCATE = Guard(
    name="history_event_no_truncate",
    table=_TABLE,
    sqlite="",
    postgresql=(
        f"{_FUNCTION}CREATE TRIGGER history_event_no_truncate BEFORE TRUNCATE ON {_TABLE}"
        f" FOR EACH STATEMENT EXECUTE FUNCTION history_refuses()"
    ),
)

# REPLACE on SQLite removes the row it clashes with, and fires no DELETE trigger for it.
_REPLACE = Guard(
    name="history_event_no_replace",
    table=_TABLE,
    sqlite=(  # no input is in this text
        f"CREATE TRIGGER history_event_no_replace BEFORE INSERT ON {_TABLE}\n"  # noqa: S608
        f"WHEN EXISTS (SELECT 1 FROM {_TABLE} WHERE id = NEW.id"
        f" OR (shop_id = NEW.shop_id AND seq = NEW.seq))\n"
        f"BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"
    ),
    postgresql="",
)

GUARDS = (
    _guard("history_event_no_update", "UPDATE"),
    _guard("history_event_no_delete", "DELETE"),
    _TRUNCATE,
    _REPLACE,
)
