"""Why a step cannot be done now, in words that can be said on the telephone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import shapely
from shapely.geometry import Polygon, box

from bays.floor.check import WALL, Shortfall, shortfall_on
from bays.floor.clearance import free_region, needed_margin_mm
from bays.floor.deepest import deepest_pose
from bays.floor.placement import Placement, Pose, options, placements
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part
from bays.floor.words import FORGIVEN_MM, Units, floor_size, listed, names_together, short_length

SHORTFALL_STEP_MM = FORGIVEN_MM
MOST_WAYS_SAID = 3

_SIDE_WORDS = {
    "front": "in front",
    "rear": "behind",
    "left": "on the left",
    "right": "on the right",
}


@dataclass(frozen=True)
class WhyNot:
    """``zones_to_empty`` are the smallest sets of occupied zones that would have to become free.

    ``shortfalls`` are told at the pose where the step comes nearest to fitting by giving way on one
    side only. ``proven`` means that every pose at the headings asked for was excluded (or allowed)
    exactly; nothing is said about other headings.
    """

    says: str
    shortfalls: tuple[Shortfall, ...]
    zones_to_empty: tuple[frozenset[ZoneId], ...]
    proven: bool


def why_not(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    headings: Sequence[float] | None,
    occupied: Set[ZoneId],
    *,
    units: Units = "metric",
) -> WhyNot:
    """Say why the step does not fit with these zones occupied; headings as in :func:`placements`.

    Three answers: what would have to be empty; or, if it fits nowhere in the empty shop, on which
    side it is short, by how much and against what (short by at most 0.25 mm too much, rounded
    up in words); or that there is no such floor at all. If it does fit, that is said.
    """
    found = placements(plan, parts, headings)
    free_now = options(found, occupied)
    if free_now:
        return WhyNot(f"It fits: {free_now[0].label}.", (), (), proven=True)
    if found:
        sets = _to_empty(found, occupied)
        return WhyNot(_empty_words(plan, sets), (), sets, proven=True)
    if headings is None and not plan.bays:
        return WhyNot("The floor plan has no bays.", (), (), proven=True)
    chosen = None if headings is None else tuple(sorted({h % 360.0 for h in headings}))
    short = _nearest(plan, parts, chosen)
    says = _no_floor_words(parts, units)
    if short:
        says = f"{says} At best it is {_short_words(plan, short[0], units)}."
    return WhyNot(says, short, (), proven=True)


def _to_empty(found: Iterable[Placement], occupied: Set[ZoneId]) -> tuple[frozenset[ZoneId], ...]:
    sets = {placement.zones & occupied for placement in found}
    smallest = [held for held in sets if not any(other < held for other in sets)]
    return tuple(sorted(smallest, key=lambda held: (len(held), sorted(held))))


def _empty_words(plan: FloorPlan, sets: Sequence[frozenset[ZoneId]]) -> str:
    ways: list[str] = []
    for held in sets[:MOST_WAYS_SAID]:
        names = [plan.zones[zone].name for zone in plan.zones if zone in held]
        said = listed(names_together(names, " and "))
        ways.append(f"if {said} {'is' if len(names) == 1 else 'are'} empty")
    return f"It fits {listed(ways, 'or')}."


def _no_floor_words(parts: Sequence[Part], units: Units) -> str:
    west, south, east, north = shapely.union_all([part.polygon for part in parts]).bounds
    return f"The shop has no floor of {floor_size(east - west, north - south, units)} for it."


def _short_words(plan: FloorPlan, short: Shortfall, units: Units) -> str:
    kinds = {obstacle.id: obstacle.kind for obstacle in plan.obstacles}
    names = {WALL: "the wall"} | {str(zone.id): zone.name for zone in plan.zones.values()}
    said = [
        f"{kinds[thing]} {thing}" if thing in kinds else names[thing] for thing in short.against
    ]
    size = short_length(short.by_mm, units)
    return f"short by {size} {_SIDE_WORDS[short.side]}, against {listed(said)}"


class _Nearest(NamedTuple):
    give_mm: float
    side: str
    pose: Pose


@lru_cache(maxsize=128)
def _nearest(
    plan: FloorPlan, parts: tuple[Part, ...], headings: tuple[float, ...] | None
) -> tuple[Shortfall, ...]:
    """The least that one side must give way for the step to fit in the empty shop."""
    best: _Nearest | None = None
    for heading, areas in _standing_areas(plan, headings):
        for side in _SIDE_WORDS:
            best = _least_give(plan, parts, heading, areas, side, best)
    return (shortfall_on(plan, parts, best.pose, best.side),) if best else ()


def _standing_areas(
    plan: FloorPlan, headings: tuple[float, ...] | None
) -> list[tuple[float, Any | None]]:
    if headings is not None:
        return [(heading, None) for heading in headings]
    areas: dict[float, list[Any]] = {}
    for bay in plan.bays:
        for heading in bay.headings_deg:
            areas.setdefault(heading, []).append(bay.area)
    return [(heading, shapely.union_all(group)) for heading, group in areas.items()]


def _least_give(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    heading: float,
    area: Any | None,
    side: str,
    best: _Nearest | None,
) -> _Nearest | None:
    """Halve the interval in which fitting begins; a zone drawn in further fits wherever it did."""
    low, high = 0.0, _most_give(parts, side)
    if best is not None:
        high = min(high, best.give_mm - SHORTFALL_STEP_MM)
    if high <= low:
        return best
    pose = _pose_giving(plan, parts, heading, area, side, high)
    if pose is None:
        return best
    best = _Nearest(high, side, pose)
    while high - low > SHORTFALL_STEP_MM:
        middle = (low + high) / 2
        pose = _pose_giving(plan, parts, heading, area, side, middle)
        if pose is None:
            low = middle
        else:
            high = middle
            best = _Nearest(middle, side, pose)
    return best


def _pose_giving(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    heading: float,
    area: Any | None,
    side: str,
    give_mm: float,
) -> Pose | None:
    drawn_in = _drawn_in(parts, side, give_mm)
    region = free_region(plan, drawn_in, heading, needed_margin_mm(parts))
    spot = deepest_pose(region.free, None if area is None else region.standing_in(area))
    return None if spot is None else Pose(spot[0], spot[1], heading)


def _bounds(parts: Iterable[Part]) -> tuple[float, float, float, float]:
    west, south, east, north = shapely.union_all([part.polygon for part in parts]).bounds
    return float(west), float(south), float(east), float(north)


def _most_give(parts: Sequence[Part], side: str) -> float:
    """Up to the body, which can give nothing."""
    west, south, east, north = _bounds(parts)
    x0, y0, x1, y1 = _bounds(part for part in parts if part.name == "body")
    return {"front": east - x1, "rear": x0 - west, "left": north - y1, "right": y0 - south}[side]


def _drawn_in(parts: Sequence[Part], side: str, give_mm: float) -> tuple[Part, ...]:
    west, south, east, north = _bounds(parts)
    kept = {
        "front": box(west, south, east - give_mm, north),
        "rear": box(west + give_mm, south, east, north),
        "left": box(west, south, east, north - give_mm),
        "right": box(west, south + give_mm, east, north),
    }[side]
    left: list[Part] = []
    for part in parts:
        piece = part.polygon if part.name == "body" else part.polygon.intersection(kept)
        # slivers thinner than the touching allowance hold no floor
        if isinstance(piece, Polygon) and not piece.buffer(-0.1).is_empty:
            ring = tuple((float(x), float(y)) for x, y in piece.exterior.coords[:-1])
            left.append(Part(part.name, ring, part.needs_mm))
    return tuple(left)
