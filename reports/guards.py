"""An issued record is never changed and never removed: the database itself says so."""

from __future__ import annotations

from typing import Final

from shopcal.database import Guard

_TABLE: Final = "reports_record"
_SAYS: Final = "an issued record is superseded, never changed or removed"
# The PDF is printed after the record is issued, so it may be set once.
_ISSUED: Final = (
    "id", "shop_id", "visit_id", "number", "content", "content_digest",
    "issued_at", "issued_by", "supersedes_id", "supersede_reason",
)  # fmt: skip
_PRINTED: Final = ("pdf", "pdf_digest")

_FUNCTION: Final = f"""
CREATE OR REPLACE FUNCTION reports_record_refuses() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""


def _changed(differs: str) -> str:
    issued = " OR ".join(f"OLD.{name} {differs} NEW.{name}" for name in _ISSUED)
    printed = " OR ".join(f"OLD.{name} {differs} NEW.{name}" for name in _PRINTED)
    return f"{issued} OR (OLD.pdf IS NOT NULL AND ({printed}))"


def _guard(name: str, act: str, *, sqlite_when: str = "", postgresql_when: str = "") -> Guard:
    return Guard(
        name=name,
        table=_TABLE,
        sqlite=(
            f"CREATE TRIGGER {name} BEFORE {act} ON {_TABLE}\n"
            f"{sqlite_when}BEGIN SELECT RAISE(ABORT, '{_SAYS}'); END"
        ),
        postgresql=(
            f"{_FUNCTION}CREATE TRIGGER {name} BEFORE {act} ON {_TABLE}"
            f" FOR EACH ROW {postgresql_when}EXECUTE FUNCTION reports_record_refuses()"
        ),
    )


GUARDS: Final = (
    _guard(
        "reports_record_no_update",
        "UPDATE",
        sqlite_when=f"WHEN {_changed('IS NOT')}\n",
        postgresql_when=f"WHEN ({_changed('IS DISTINCT FROM')}) ",
    ),
    _guard("reports_record_no_delete", "DELETE"),
)
