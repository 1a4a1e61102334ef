"""Placements: where a vehicle can stand for a step, and which zones that takes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely.geometry import Polygon

from bays.floor.clearance import (
    TOUCH_MM,
    Region,
    feasible,
    needed_margin_mm,
    tolerant,
    turn,
)
from bays.floor.deepest import deepest_pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part, Points
from bays.floor.words import zone_label

KEPT_ANSWERS = 256


class Pose(NamedTuple):
    """The middle of the rear axle on the floor, and the heading."""

    x_mm: float
    y_mm: float
    heading_deg: float


@dataclass(frozen=True)
class Placement:
    """A pose with its clear zone on the floor and the zones it takes.

    ``margin_mm`` is how far the clear zone could grow all round before it met a wall, an obstacle
    or a zone that is not taken; it is at least what the step's tolerances need. ``bay_ids`` names
    first the bay the vehicle stands in, then other bays wholly taken. ``polygon`` is the outer line
    of clear zone and body together (of their convex hull, where they lie apart).
    """

    key: str
    zones: frozenset[ZoneId]
    pose: Pose
    margin_mm: float
    bay_ids: tuple[str, ...]
    label: str
    polygon: Points
    body: Points


@dataclass(frozen=True)
class Fit:
    """The roomiest pose, occupied zones being solid and all others free to be used."""

    pose: Pose
    margin_mm: float


@dataclass(frozen=True, eq=False)
class _Candidate:
    zones: frozenset[ZoneId]
    heading_deg: float
    spots: tuple[tuple[float, float], ...]


def placements(
    plan: FloorPlan, parts: tuple[Part, ...], headings: Sequence[float] | None = None
) -> tuple[Placement, ...]:
    """Every minimal set of zones in which the step can be done, each with its roomiest pose.

    Without ``headings`` the vehicle stands in a bay (its body's centre in the bay's zones) at any
    heading: see :func:`bays.floor.headings.search_placements`. With ``headings`` it may stand
    anywhere on the floor at any of them. A set is minimal when no other placement makes do with
    part of it; the clear zone may reach over neighbouring zones, which are then taken as well.
    Margins are short of the greatest by at most 1 mm. Smaller sets come first, then roomier ones.
    Cached, least recently used leaving first.
    """
    if headings is None:
        from bays.floor.headings import search_placements

        return search_placements(plan, parts).placements
    return _placements(plan, parts, tuple(sorted({h % 360.0 for h in headings})))


def options(found: Iterable[Placement], occupied: Set[ZoneId]) -> list[Placement]:
    """The placements that need none of the occupied zones, in the same order."""
    return [placement for placement in found if placement.zones.isdisjoint(occupied)]


def best_fit(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    headings: Sequence[float],
    occupied: Set[ZoneId] = frozenset(),
) -> Fit | None:
    """The roomiest pose anywhere on the floor at these headings, or ``None``.

    Unlike :func:`placements` the margin counts against occupied zones only, so free neighbouring
    zones are room to spare. The step's tolerances must be met.
    """
    best: Fit | None = None
    for heading in sorted({h % 360.0 for h in headings}):
        free = feasible(plan, parts, heading).without(occupied)
        spot = deepest_pose(free, None)
        if spot is None or spot[2] < needed_margin_mm(parts) + TOUCH_MM / 2:
            continue
        margin = max(spot[2] - TOUCH_MM, 0.0)
        if best is None or margin > best.margin_mm:
            best = Fit(Pose(spot[0], spot[1], heading), margin)
    return best


def at_pose(ring: Points, pose: Pose) -> Points:
    """A ring of the vehicle frame, on the floor."""
    turned = turn(np.array(ring), pose.heading_deg) + np.array([pose.x_mm, pose.y_mm])
    return tuple((float(x), float(y)) for x, y in turned)


@lru_cache(maxsize=KEPT_ANSWERS)
def _placements(
    plan: FloorPlan, parts: tuple[Part, ...], headings: tuple[float, ...]
) -> tuple[Placement, ...]:
    found: dict[frozenset[ZoneId], Placement] = {}
    for candidate in _minimal(_candidates(plan, parts, headings)):
        placement = _place(plan, parts, candidate)
        rival = found.get(candidate.zones)
        if placement and (rival is None or placement.margin_mm > rival.margin_mm):
            found[candidate.zones] = placement
    return in_order(found.values())


def in_order(found: Iterable[Placement]) -> tuple[Placement, ...]:
    """Smaller sets first, then roomier ones."""
    return tuple(sorted(found, key=lambda p: (len(p.zones), -p.margin_mm, p.key)))


def _candidates(
    plan: FloorPlan, parts: tuple[Part, ...], headings: tuple[float, ...]
) -> list[_Candidate]:
    found: list[_Candidate] = []
    for heading in headings:
        region = tolerant(plan, parts, heading)
        found.extend(
            _Candidate(zones, heading, spots)
            for zones, spots in _zone_sets(region, region.free).items()
        )
    return found


def _zone_sets(
    region: Region, domain: Any
) -> Mapping[frozenset[ZoneId], tuple[tuple[float, float], ...]]:
    """The sets of zones that poses in ``domain`` take, with some poses of each.

    The domain is cut along the edge of each zone's poses in turn; pieces that take the same zones
    are kept together. Hairlines narrower than the touching allowance are rounding and dropped.
    """
    cells: dict[frozenset[ZoneId], Any] = {frozenset(): domain}
    zones, bounds = region.zone_bounds
    west, south, east, north = domain.bounds if not domain.is_empty else (0.0, 0.0, -1.0, -1.0)
    for zone, (x0, y0, x1, y1) in zip(zones, bounds, strict=True):
        if x0 > east or x1 < west or y0 > north or y1 < south:
            continue
        taken = region.zone_poses[zone]
        shapely.prepare(taken)
        cut: dict[frozenset[ZoneId], list[Any]] = {}
        for held, cell in cells.items():
            for piece, key in _cut(cell, taken, held, zone):
                cut.setdefault(key, []).append(piece)
        cells = {key: shapely.union_all(pieces) for key, pieces in cut.items()}
    sets: dict[frozenset[ZoneId], tuple[tuple[float, float], ...]] = {}
    for held, cell in cells.items():
        core = shapely.buffer(cell, -TOUCH_MM / 4, join_style="mitre")
        spots = [part.representative_point() for part in shapely.get_parts(core) if part.area]
        if spots:
            sets[held] = tuple((spot.x, spot.y) for spot in spots)
    return sets


def _cut(
    cell: Any, taken: Any, held: frozenset[ZoneId], zone: ZoneId
) -> list[tuple[Any, frozenset[ZoneId]]]:
    if taken.covers(cell):
        return [(cell, held | {zone})]
    if not taken.intersects(cell):
        return [(cell, held)]
    both = ((cell.intersection(taken), held | {zone}), (cell.difference(taken), held))
    return [(piece, key) for piece, key in both if piece.area > 0]


def _minimal(candidates: Sequence[_Candidate]) -> list[_Candidate]:
    sets = {candidate.zones for candidate in candidates}
    smallest = {held for held in sets if not any(other < held for other in sets)}
    return [candidate for candidate in candidates if candidate.zones in smallest]


def _place(plan: FloorPlan, parts: tuple[Part, ...], candidate: _Candidate) -> Placement | None:
    region = feasible(plan, parts, candidate.heading_deg)
    free = region.without(plan.zones.keys() - candidate.zones)
    spot = deepest_pose(free, None, candidate.spots)
    if spot is None or spot[2] < needed_margin_mm(parts) + TOUCH_MM / 2:
        return None
    pose = Pose(spot[0], spot[1], region.heading_deg)
    return placed(plan, parts, candidate.zones, pose, max(spot[2] - TOUCH_MM, 0.0))


def placed(
    plan: FloorPlan, parts: tuple[Part, ...], zones: frozenset[ZoneId], pose: Pose, margin_mm: float
) -> Placement:
    """Draw and name a placement whose pose and margin are known."""
    rings = [Polygon(at_pose(part.ring, pose)) for part in parts]
    whole = shapely.union_all(rings)
    outer = whole if isinstance(whole, Polygon) else whole.convex_hull
    body = next(part for part in parts if part.name == "body")
    return Placement(
        key="+".join(sorted(zones)) + f"@{pose.heading_deg:g}",
        zones=zones,
        pose=pose,
        margin_mm=margin_mm,
        bay_ids=_bays_at(plan, at_pose(body.ring, pose), zones),
        label=zone_label(plan, zones),
        polygon=tuple((float(x), float(y)) for x, y in outer.exterior.coords[:-1]),
        body=at_pose(body.ring, pose),
    )


def _bays_at(plan: FloorPlan, body: Points, zones: frozenset[ZoneId]) -> tuple[str, ...]:
    centre = Polygon(body).centroid
    by_size = sorted(plan.bays, key=lambda bay: len(bay.zones))
    standing = [bay.id for bay in by_size if bay.area.distance(centre) < TOUCH_MM]
    taken = [bay.id for bay in plan.bays if zones.issuperset(bay.zones)]
    return tuple(dict.fromkeys([*standing[:1], *taken, *standing[1:]]))
