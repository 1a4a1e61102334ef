"""A whole shop's setting-up brought in or written out as one document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from bays.services.checks import locked_shop
from bays.transfer import (
    FORMAT,
    DocumentFaults,
    ImportSummary,
    Reading,
    Tally,
    load_document,
    sections,
)
from bays.transfer.document import plain_values
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Invalid
from shopcal.history.record import record_event

__all__ = ["ImportSummary", "export_shop", "import_shop", "load_document"]


def import_shop(*, by: Actor, document: Mapping[str, Any]) -> ImportSummary:
    """Bring a shop file in: things are added, or changed where their code is known already.

    What the file does not name is left alone; a technician's skills and shifts, and the opening
    hours, are each one value and replaced as a whole. Bringing the same file in again changes
    nothing and writes no history.

    Raises:
        NotAllowed: not a manager.
        DocumentFaults: every fault of every section, with its path; nothing was changed.
        Conflict: the file is right, but what is booked stands against it; nothing was changed.
    """
    require(by, Action.IMPORT_EXPORT)
    values = plain_values(dict(document))
    with transaction.atomic():
        shop = locked_shop(by)
        found = _read(Reading(shop.pk, shop.zone), values)
        tally = Tally()
        for section in sections():
            if section.key in found:
                _apply(by, section.key, section.apply, found[section.key], tally)
        summary = tally.summary()
        if summary.anything_changed:
            record_event(
                by=by,
                kind="shop.imported",
                subject=f"shop:{by.shop_id}",
                after={"says": list(summary.says())},
            )
    return summary


def _read(reading: Reading, values: Mapping[str, Any]) -> dict[str, Any]:
    """What each section of the document holds.

    Raises:
        DocumentFaults: every fault of every section.
    """
    known = {section.key: section for section in sections()}
    if values.get("format") != FORMAT:
        reading.faults.note("format", f"is {values.get('format')!r:.40}", FORMAT)
    for key in values:
        if key != "format" and key not in known:
            right = f"one of {', '.join(known)}"
            reading.faults.note(str(key), "is no section of a shop file", right)
    found = {
        key: section.read(values[key], reading) for key, section in known.items() if key in values
    }
    if reading.faults.errors:
        raise DocumentFaults(reading.faults.errors)
    return found


def _apply(by: Actor, key: str, apply: Any, found: Any, tally: Tally) -> None:
    try:
        apply(by, found, tally)
    except DocumentFaults:
        raise
    except Invalid as refused:
        # Something only the stored rows could tell; the section's name leads to it.
        errors = [
            type(error)(f"{key}: {error.path}", error.says, error.right) for error in refused.errors
        ]
        raise DocumentFaults(errors) from refused


def export_shop(shop_id: int) -> dict[str, Any]:
    """The shop's setting-up, as ``import_shop`` takes it.

    It leaves out what happens from day to day: visits, holds, absences, downtimes, counts of uses.
    """
    document: dict[str, Any] = {"format": FORMAT}
    for section in sections():
        value = section.export(shop_id)
        if value is not None:
            document[section.key] = value
    return document
