"""The section ``shop``: name, clock, units and how to reach it."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError

from bays.services.put import Outcome
from bays.transfer.faults import Entry
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.services.shops import change_shop

_WORDS = ("name", "time_zone", "units", "address", "phone", "email")
_COUNTS = ("move_minutes", "booking_freeze_minutes", "offers_to_show")


def read(value: Any, reading: Reading) -> dict[str, Any]:
    faults = reading.faults
    fields = faults.keys(value, "shop", needed=(), may=(*_WORDS, *_COUNTS))
    if fields is None:
        return {}
    entry = Entry("shop", fields)
    found: dict[str, Any] = {}
    for name in _WORDS:
        found[name] = faults.given(
            entry, name, lambda v, p: faults.words(v, p, at_most=400, needed=False)
        )
    for name in _COUNTS:
        found[name] = faults.given(entry, name, faults.count)
    found = {name: entry for name, entry in found.items() if entry is not None}
    _note_model_faults(found, reading)
    return found


def _note_model_faults(found: dict[str, Any], reading: Reading) -> None:
    shop = Shop.objects.get(pk=reading.shop_id)
    for name, entry in found.items():
        setattr(shop, name, entry)
    try:
        shop.clean_fields(exclude=[f.name for f in Shop._meta.fields if f.name not in found])
        reading.zone = shop.zone
    except ValidationError as fault:
        for name, says in fault.message_dict.items():
            reading.faults.note(f"shop.{name}", " ".join(says))


def apply(by: Actor, found: dict[str, Any], tally: Tally) -> None:
    shop = Shop.objects.get(pk=by.shop_id)
    changes = {name: entry for name, entry in found.items() if getattr(shop, name) != entry}
    if changes:
        change_shop(changes=changes, version=shop.version, by=by)
    tally.add("shop settings", Outcome.CHANGED if changes else Outcome.UNCHANGED)


def export(shop_id: int) -> dict[str, Any]:
    shop = Shop.objects.get(pk=shop_id)
    told = {name: getattr(shop, name) for name in _WORDS if getattr(shop, name) != ""}
    return told | {name: getattr(shop, name) for name in _COUNTS}


SECTION = Section("shop", read, apply, export)
