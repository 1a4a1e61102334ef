"""Reads the floor of a case: walls, obstacles, doors and the case's own zones."""

from __future__ import annotations

import hashlib
import json
from types import MappingProxyType
from typing import Any

from shapely.geometry import Polygon

from bays.floor.exchange.metres import MetreFaults
from bays.floor.plan import Door, FloorPlan, Obstacle, Zone, ZoneId

MOST_THINGS = 1000
THINGS = ("obstacles", "zones", "doors")


def read_floor(faults: MetreFaults, value: object, path: str = "floor") -> FloorPlan | None:
    """The plan, with fractions of a millimetre kept.

    Floor outside the case's zones belongs to no zone here, unlike on a shop's own plan: a case
    asks about its own zones, and two bookings sharing the rest is no question of it.
    """
    row = faults.mapping(value, path, needed=("outline",), may=THINGS)
    if row is None:
        return None
    if row.get("units", "m") != "m":
        faults.note(f"{path}.units", f"is {row['units']!r}", "m")
    if row.get("holes"):
        faults.note(f"{path}.holes", "is not known here", "holes drawn as obstacles")
    outline = faults.ring(row["outline"], f"{path}.outline") if "outline" in row else None
    seen: dict[str, str] = {}
    obstacles = [
        Obstacle(name, _kind(thing), shape)
        for name, thing, shape in _shapes(faults, row.get("obstacles"), f"{path}.obstacles", seen)
    ]
    zones = {
        ZoneId(name): Zone(ZoneId(name), name, _kind(thing), shape)
        for name, thing, shape in _shapes(faults, row.get("zones"), f"{path}.zones", seen)
    }
    doors = _doors(faults, row.get("doors"), f"{path}.doors")
    if outline is None or faults.errors:
        return None
    return FloorPlan(
        name="case",
        outline=outline,
        obstacles=tuple(obstacles),
        doors=tuple(doors),
        zones=MappingProxyType(zones),
        bays=(),
        digest=_digest(row),
        content=MappingProxyType(dict(row)),
    )


def read_occupied(faults: MetreFaults, value: object, plan: FloorPlan | None) -> frozenset[ZoneId]:
    names: list[ZoneId] = []
    for i, entry in enumerate(faults.list_of(value, "occupied", at_most=MOST_THINGS)):
        name = faults.text(entry, f"occupied[{i}]")
        if name is not None and plan is not None and name not in plan.zones:
            known = ", ".join(plan.zones) or "no zone at all"
            faults.note(f"occupied[{i}]", f"names {name!r}, which is no zone", f"one of {known}")
        elif name is not None:
            names.append(ZoneId(name))
    return frozenset(names)


def _digest(row: Any) -> str:
    text = json.dumps(row, sort_keys=True, separators=(",", ":"))
    return "case-" + hashlib.sha256(text.encode()).hexdigest()


def _kind(row: Any) -> str:
    kind = row.get("kind")
    return kind if isinstance(kind, str) else "obstacle"


def _shapes(
    faults: MetreFaults, value: object, path: str, seen: dict[str, str]
) -> list[tuple[str, Any, Polygon]]:
    found: list[tuple[str, Any, Polygon]] = []
    for i, entry in enumerate(faults.list_of(value, path, at_most=MOST_THINGS)):
        here = f"{path}[{i}]"
        row = faults.mapping(entry, here, needed=("id", "poly"))
        if row is None:
            continue
        name = faults.text(row["id"], f"{here}.id") if "id" in row else None
        shape = faults.ring(row["poly"], f"{here}.poly") if "poly" in row else None
        if name is not None and name in seen:
            faults.note(f"{here}.id", f"is {name!r}, as is {seen[name]}", "an id used only once")
        elif name is not None:
            seen[name] = here
        if name is not None and shape is not None:
            found.append((name, row, shape))
    return found


def _doors(faults: MetreFaults, value: object, path: str) -> list[Door]:
    """Doors lie in a wall; their ends are kept to the millimetre."""
    found: list[Door] = []
    for i, entry in enumerate(faults.list_of(value, path, at_most=MOST_THINGS)):
        here = f"{path}[{i}]"
        row = faults.mapping(entry, here, needed=("id", "a", "b"))
        if row is None:
            continue
        name = faults.text(row["id"], f"{here}.id") if "id" in row else None
        a, b = (faults.spot(row[k], f"{here}.{k}") if k in row else None for k in ("a", "b"))
        if name is not None and a is not None and b is not None:
            ends = [(round(x), round(y)) for x, y in (a, b)]
            found.append(Door(name, ends[0], ends[1]))
    return found
