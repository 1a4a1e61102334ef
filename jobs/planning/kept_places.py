"""Placements as they are kept in the database between processes: exact, number for number."""

from __future__ import annotations

from dataclasses import astuple, fields
from typing import Any, Final

from bays import floor
from bays.floor import ClearZone, FloorPlan, Placement, Pose, VehicleShape
from bays.floor.headings import Search, tell_search
from bays.services.answers import answer_key, kept_answer

# Counts up when the method of `bays.floor.placements` changes, so that nothing old is served.
PLACEMENTS_VERSION: Final = 1


def kept_placements(plan: FloorPlan, shape: VehicleShape, zone: ClearZone) -> tuple[Placement, ...]:
    """As ``floor.placements`` in the plan's bays, worked out once for every process."""
    parts = floor.resolve(zone, shape)
    key = answer_key("places", PLACEMENTS_VERSION, plan.digest, shape_facts(shape), zone)
    search = kept_answer(key, lambda: floor.search_placements(plan, parts), written, read_back)
    tell_search(plan, parts, search)  # what is asked of the floor afterwards need not search again
    return search.placements


def shape_facts(shape: VehicleShape) -> tuple[float | None, ...]:
    """The shape as numbers of one type: 1850 and 1850.0 are the same width."""
    values: tuple[float | None, ...] = astuple(shape)
    return tuple(None if value is None else float(value) for value in values)


def written(search: Search) -> dict[str, Any]:
    return {
        "proven": search.proven,
        "placements": [_written(placement) for placement in search.placements],
    }


def read_back(content: dict[str, Any]) -> Search:
    """Raises: KeyError, TypeError, ValueError: not written by :func:`written`."""
    found = tuple(_read(one) for one in content["placements"])
    return Search(found, proven=bool(content["proven"]))


def _written(one: Placement) -> dict[str, Any]:
    return {
        "key": one.key,
        "zones": sorted(one.zones),
        "pose": list(one.pose),
        "margin_mm": one.margin_mm,
        "bay_ids": list(one.bay_ids),
        "label": one.label,
        "polygon": [list(point) for point in one.polygon],
        "body": [list(point) for point in one.body],
    }


def _read(one: dict[str, Any]) -> Placement:
    if one.keys() != {field.name for field in fields(Placement)}:
        raise ValueError("written by another version")
    return Placement(
        key=str(one["key"]),
        zones=frozenset(floor.ZoneId(zone) for zone in one["zones"]),
        pose=Pose(*(float(value) for value in one["pose"])),
        margin_mm=float(one["margin_mm"]),
        bay_ids=tuple(one["bay_ids"]),
        label=str(one["label"]),
        polygon=tuple((float(x), float(y)) for x, y in one["polygon"]),
        body=tuple((float(x), float(y)) for x, y in one["body"]),
    )
