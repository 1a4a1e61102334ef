"""Where a vehicle can stand in one bay at one heading, taking as little other floor as it can."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import replace
from functools import lru_cache
from typing import Any

import shapely
from shapely.geometry import Point, Polygon

from bays.floor.check import check_pose
from bays.floor.clearance import TOUCH_MM, feasible, needed_margin_mm, tolerant
from bays.floor.deepest import deepest_pose
from bays.floor.placement import Placement, Pose, at_pose
from bays.floor.plan import Bay, FloorPlan, ZoneId
from bays.floor.shapes import Part
from bays.floor.words import zone_label

KEPT_STANDINGS = 256
# Floor that is given up first when the clear zone must reach beyond the bay.
_GIVEN_UP_LAST = ("bay", "rack", "aisle", "rest")


def stand(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    bay: Bay,
    heading_deg: float,
    occupied: Set[ZoneId] = frozenset(),
) -> Placement | None:
    """The roomiest pose in a bay at one heading, or ``None`` if there is none.

    The body's centre lies in the bay. Occupied zones are solid; of the others as few are taken as
    can be, bays being spared before aisles. The step's tolerances are met. Exact as
    :func:`feasible`; the margin is short of the greatest by at most 1 mm. Cached.
    """
    return _stand(plan, parts, bay.id, heading_deg % 360.0, frozenset(occupied))


def placement_at(plan: FloorPlan, parts: tuple[Part, ...], pose: Pose) -> Placement:
    """One pose as a placement, good or not: its zones, and its margin against everything else."""
    zones = check_pose(plan, parts, pose).zones
    margin = check_pose(plan, parts, pose, plan.zones.keys() - zones).margin_mm
    whole = shapely.union_all([Polygon(at_pose(part.ring, pose)) for part in parts])
    outer = whole if isinstance(whole, Polygon) else whole.convex_hull
    body = next(part for part in parts if part.name == "body")
    return Placement(
        key="+".join(sorted(zones)) + f"@{pose.heading_deg:g}",
        zones=zones,
        pose=pose,
        margin_mm=margin,
        bay_ids=_bay_ids(plan, Polygon(at_pose(body.ring, pose)).centroid, zones),
        label=zone_label(plan, zones),
        polygon=tuple((float(x), float(y)) for x, y in outer.exterior.coords[:-1]),
        body=at_pose(body.ring, pose),
    )


def only_bay(plan: FloorPlan, bay: Bay) -> FloorPlan:
    """The same floor with one bay to stand in; all zones stay."""
    return replace(plan, bays=(bay,), digest=f"{plan.digest}/bay {bay.id}")


def turned_about(pose: Pose, parts: tuple[Part, ...]) -> Pose:
    """The vehicle turned round on the floor its body covers."""
    body = next(part for part in parts if part.name == "body")
    ahead = body.polygon.centroid
    ((x, y),) = at_pose(((2 * ahead.x, 2 * ahead.y),), pose)
    return Pose(x, y, (pose.heading_deg + 180.0) % 360.0)


def held_sets(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    bay: Bay,
    heading_deg: float,
    occupied: Set[ZoneId],
) -> tuple[frozenset[ZoneId], ...]:
    """The smallest sets of occupied zones that poses in a bay at one heading would take."""
    region = tolerant(plan, parts, heading_deg)
    domain = region.free.intersection(region.standing_in(bay.area))
    cells: dict[frozenset[ZoneId], Any] = {frozenset(): domain}
    for zone in sorted(occupied):
        taken = region.zone_poses[zone]
        cut = [
            (held | extra, piece)
            for held, cell in cells.items()
            for extra, piece in (
                (frozenset[ZoneId](), cell.difference(taken)),
                (frozenset({zone}), cell.intersection(taken)),
            )
            if _holds_a_pose(piece)
        ]
        cells = dict(cut)
    return tuple(held for held in cells if not any(other < held for other in cells))


@lru_cache(maxsize=KEPT_STANDINGS)
def _stand(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    bay_id: str,
    heading_deg: float,
    occupied: frozenset[ZoneId],
) -> Placement | None:
    bay = plan.bay(bay_id)
    if bay is None:
        return None
    region = tolerant(plan, parts, heading_deg)
    domain = region.without(occupied).intersection(region.standing_in(bay.area))
    if not _holds_a_pose(domain):
        return None
    spared = set(occupied)
    for zone in _others(plan, bay):
        left = domain.difference(region.zone_poses[zone])
        if zone not in spared and _holds_a_pose(left):
            domain = left
            spared.add(zone)
    seeds = [core.representative_point() for core in shapely.get_parts(_core(domain))]
    roomy = feasible(plan, parts, heading_deg)
    spot = deepest_pose(
        roomy.without(spared), roomy.standing_in(bay.area), [(s.x, s.y) for s in seeds]
    )
    if spot is None or spot[2] < needed_margin_mm(parts) + TOUCH_MM / 2:
        return None
    return placement_at(plan, parts, Pose(spot[0], spot[1], heading_deg))


def _others(plan: FloorPlan, bay: Bay) -> list[ZoneId]:
    others = [zone for zone in plan.zones.values() if zone.id not in bay.zones]
    return [zone.id for zone in sorted(others, key=lambda z: _GIVEN_UP_LAST.index(z.kind))]


def _core(domain: Any) -> Any:
    """Without hairlines, which are rounding."""
    return shapely.buffer(domain, -TOUCH_MM / 4, join_style="mitre")


def _holds_a_pose(domain: Any) -> bool:
    return not _core(domain).is_empty


def _bay_ids(plan: FloorPlan, centre: Point, zones: Set[ZoneId]) -> tuple[str, ...]:
    """As :attr:`Placement.bay_ids`: the bay it stands in, then other bays wholly taken."""
    by_size = sorted(plan.bays, key=lambda bay: len(bay.zones))
    standing = [bay.id for bay in by_size if bay.area.distance(centre) < TOUCH_MM]
    taken = [bay.id for bay in plan.bays if zones >= set(bay.zones)]
    return tuple(dict.fromkeys([*standing[:1], *taken, *standing[1:]]))
