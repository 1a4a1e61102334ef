"""The section ``vehicle_models``: the shop's library of vehicles and their sizes."""

from __future__ import annotations

from typing import Any, Final

from bays.transfer import Reading, Section, Tally
from bays.transfer.faults import Entry, Faults
from jobs.models import VehicleModel
from jobs.services.vehicles import put_vehicle_model, vehicle_faults
from shopcal.accounts.actor import Actor

_SIZES: Final = ("width_mm", "wheelbase_mm", "front_overhang_mm", "rear_overhang_mm")
_TEXTS: Final = ("vin_prefix", "years", "source")


def read(value: Any, reading: Reading) -> list[dict[str, Any]]:
    faults = reading.faults
    found = []
    seen: dict[str, str] = {}
    needed = ("code", "make", "name", *_SIZES)
    may = (*_TEXTS, "tyre_track_mm", "systems")
    for entry in faults.entries(value, "vehicle_models", needed=needed, may=may):
        facts, whole = _facts(entry, faults)
        faults.once(f"{entry.path}.code", facts.get("code"), seen)
        if whole:
            faults.extend(entry.path, vehicle_faults(**facts))
        found.append(facts)
    return found


def _facts(entry: Entry, faults: Faults) -> tuple[dict[str, Any], bool]:
    """The fields as given, and whether all that is needed could be read."""
    before = len(faults.errors)
    facts: dict[str, Any] = {"code": faults.given(entry, "code", faults.code)}
    for name in ("make", "name"):
        facts[name] = faults.given(entry, name, faults.words)
    for name in _TEXTS:
        words = faults.given(
            entry, name, lambda v, p: faults.words(v, p, at_most=200, needed=False)
        )
        facts[name] = words or ""
    for name in (*_SIZES, "tyre_track_mm"):
        facts[name] = faults.given(entry, name, faults.count)
    path = f"{entry.path}.systems"
    rows = faults.rows(entry.fields.get("systems", []), path, at_most=100)
    facts["systems"] = [
        code for i, row in enumerate(rows) if (code := faults.code(row, f"{path}[{i}]"))
    ]
    needed = ("code", "make", "name", *_SIZES)
    whole = len(faults.errors) == before and all(facts[name] is not None for name in needed)
    return facts, whole


def apply(by: Actor, found: list[dict[str, Any]], tally: Tally) -> None:
    for facts in found:
        tally.add("vehicle models", put_vehicle_model(by=by, **facts).outcome)


def export(shop_id: int) -> list[dict[str, Any]] | None:
    rows = VehicleModel.objects.for_shop(shop_id).order_by("code")
    return [_told(row) for row in rows] or None


def _told(row: VehicleModel) -> dict[str, Any]:
    told: dict[str, Any] = {"code": row.code, "make": row.make, "name": row.name}
    told |= {name: getattr(row, name) for name in _TEXTS if getattr(row, name)}
    told |= {name: getattr(row, name) for name in _SIZES}
    if row.tyre_track_mm is not None:
        told["tyre_track_mm"] = row.tyre_track_mm
    return told | {"systems": list(row.systems)}


SECTION = Section("vehicle_models", read, apply, export)
