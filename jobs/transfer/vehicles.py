"""The section ``vehicle_models``: the shop's library of vehicles and their sizes."""

from __future__ import annotations

from typing import Any, Final

from bays.transfer import Reading, Section, Tally
from bays.transfer.faults import Entry, Faults
from bays.transfer.stored import over_stored
from jobs.models import VehicleModel
from jobs.services.vehicles import put_vehicle_model, vehicle_faults
from shopcal.accounts.actor import Actor

_SIZES: Final = ("width_mm", "wheelbase_mm", "front_overhang_mm", "rear_overhang_mm")
_TEXTS: Final = ("vin_prefix", "years", "source")
_OPTIONAL_SIZES: Final = ("tyre_track_mm", "turning_circle_mm")
_KEPT: Final = (*_TEXTS, *_OPTIONAL_SIZES, "systems")


def read(value: Any, reading: Reading) -> list[dict[str, Any]]:
    faults = reading.faults
    found = []
    seen: dict[str, str] = {}
    needed = ("code", "make", "name", *_SIZES)
    may = (*_TEXTS, *_OPTIONAL_SIZES, "systems")
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
        facts[name] = faults.given(
            entry, name, lambda v, p: faults.words(v, p, at_most=200, needed=False)
        )
    for name in (*_SIZES, *_OPTIONAL_SIZES):
        facts[name] = faults.given(entry, name, faults.count)
    if "systems" in entry.fields:
        facts["systems"] = _systems(entry, faults)
    needed = ("code", "make", "name", *_SIZES)
    whole = len(faults.errors) == before and all(facts[name] is not None for name in needed)
    return {name: fact for name, fact in facts.items() if fact is not None}, whole


def _systems(entry: Entry, faults: Faults) -> list[str]:
    path = f"{entry.path}.systems"
    rows = faults.rows(entry.fields["systems"], path, at_most=100)
    return [code for i, row in enumerate(rows) if (code := faults.code(row, f"{path}[{i}]"))]


def apply(by: Actor, found: list[dict[str, Any]], tally: Tally) -> None:
    for given in found:
        facts = over_stored(VehicleModel, by.shop_id, given, _KEPT)
        tally.add("vehicle models", put_vehicle_model(by=by, **facts).outcome)


def export(shop_id: int) -> list[dict[str, Any]] | None:
    rows = VehicleModel.objects.for_shop(shop_id).order_by("code")
    return [_told(row) for row in rows] or None


def _told(row: VehicleModel) -> dict[str, Any]:
    told: dict[str, Any] = {"code": row.code, "make": row.make, "name": row.name}
    told |= {name: getattr(row, name) for name in _TEXTS if getattr(row, name)}
    told |= {name: getattr(row, name) for name in _SIZES}
    optional = {name: getattr(row, name) for name in _OPTIONAL_SIZES}
    told |= {name: value for name, value in optional.items() if value is not None}
    return told | {"systems": list(row.systems)}


SECTION = Section("vehicle_models", read, apply, export)
