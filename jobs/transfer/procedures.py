"""The section ``procedures``: a list of procedure contents, each published as an edition."""

from __future__ import annotations

from typing import Any

from bays.services.put import Outcome
from bays.transfer import Reading, Section, Tally
from jobs.models import ProcedureEdition
from jobs.procedures import ProcedureContent, ProcedureFaults
from jobs.selectors.procedures import current_editions
from jobs.services.procedures import (
    circle_faults,
    named_faults,
    needs_by_code,
    publish_edition,
)
from shopcal.accounts.actor import Actor

_MOST_PROCEDURES = 500


def read(value: Any, reading: Reading) -> list[dict[str, Any]]:
    faults = reading.faults
    found: dict[str, ProcedureContent] = {}
    rows = faults.rows(value, "procedures", at_most=_MOST_PROCEDURES)
    seen: dict[str, str] = {}
    for index, row in enumerate(rows):
        path = f"procedures[{index}]"
        if isinstance(row, dict) and isinstance(row.get("code"), str):
            faults.once(f"{path}.code", row["code"], seen)
        try:
            found[path] = ProcedureContent.from_content(row)
        except ProcedureFaults as refused:
            faults.extend(path, refused.errors)
    # A procedure with faults of its own is still there to be named by the others.
    needs = needs_by_code(reading.shop_id) | {e.code: e.needs_first for e in found.values()}
    known = {*needs, *seen}
    told: set[str] = set()
    for path, edition in found.items():
        faults.extend(path, named_faults(edition, known))
        if edition.code not in told:
            circle = circle_faults(edition, needs)
            told |= {code for code in needs if circle and code in circle[0].says}
            faults.extend(path, circle)
    return rows


def apply(by: Actor, rows: list[dict[str, Any]], tally: Tally) -> None:
    codes = {row["code"] for row in rows}
    newest = _newest(by.shop_id)
    for row in rows:
        edition = publish_edition(by=by, content=row, beside=codes)
        if newest.get(row["code"]) == edition.pk:
            tally.add("procedures", Outcome.UNCHANGED)
        else:
            first = edition.number == 1
            tally.add("procedures", Outcome.ADDED if first else Outcome.CHANGED)


def _newest(shop_id: int) -> dict[str, int]:
    """The newest edition of every procedure, retired ones too."""
    rows = ProcedureEdition.objects.for_shop(shop_id).order_by("number")
    return dict(rows.values_list("procedure__code", "pk"))


def export(shop_id: int) -> list[dict[str, Any]] | None:
    editions = current_editions(shop_id).order_by("procedure__code")
    return [dict(edition.content) for edition in editions] or None


SECTION = Section("procedures", read, apply, export)
