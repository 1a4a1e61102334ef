"""What would make room: zones that become empty, things that are moved away."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from types import MappingProxyType

from bays.floor.check import SIDES, Shortfall
from bays.floor.headings import search_placements
from bays.floor.placement import Placement, placements
from bays.floor.plan import FloorPlan, Obstacle, Zone, ZoneId
from bays.floor.shapes import Part

# When all of these zones are free together for long enough; None when that is not known.
FreeFrom = Callable[[frozenset[ZoneId]], datetime | None]

# What two people can push or wheel aside (common practice, no source); columns, rooms, lift posts
# and whatever else a plan names count as fixed.
MOVABLE_KINDS = frozenset(
    {"barrel", "bench", "bin", "box", "cabinet", "cart", "chest", "crane", "equipment", "pallet",
     "rack", "shelf", "stand", "table", "target", "trolley", "workbench"}
)  # fmt: skip
_LOOSE = "moved:"


@dataclass(frozen=True)
class Emptying:
    """A smallest set of occupied zones that would have to become free.

    ``placement`` is what then fits; ``free_at`` when its zones are all free, if that is known.
    """

    zones: frozenset[ZoneId]
    placement: Placement
    free_at: datetime | None = None


@dataclass(frozen=True)
class Removal:
    """A thing on the floor without which the step would fit, and the room it then has."""

    obstacle: str
    movable: bool
    placement: Placement


def movable(obstacle: Obstacle) -> bool:
    """Whether a thing of this kind can be pushed aside: by the last word of its kind."""
    words = obstacle.kind.lower().replace("_", " ").replace("-", " ").split()
    return bool(words) and words[-1] in MOVABLE_KINDS


def in_some_bay(placement: Placement, bays: Set[str] | None) -> bool:
    """Whether a placement stands in one of these bays, or takes it; ``None`` for any place."""
    return bays is None or any(bay in bays for bay in placement.bay_ids)


def emptyings(
    found: Iterable[Placement], occupied: Set[ZoneId], free_from: FreeFrom | None = None
) -> tuple[Emptying, ...]:
    """Every smallest set of occupied zones to empty; those known to be free soonest come first.

    A set stands for the placement that is free soonest with it, or else for the roomiest.
    """
    ways: dict[frozenset[ZoneId], Emptying] = {}
    for placement in found:
        zones = placement.zones & occupied
        way = Emptying(zones, placement, free_from(placement.zones) if free_from else None)
        if zones not in ways or _sooner(way) < _sooner(ways[zones]):
            ways[zones] = way
    smallest = [way for zones, way in ways.items() if not any(other < zones for other in ways)]
    return tuple(sorted(smallest, key=_order))


def when_all(free_from: Mapping[ZoneId, datetime], occupied: Set[ZoneId]) -> FreeFrom:
    """From a time for each zone: all of them are free at the last of their times."""

    def told(zones: frozenset[ZoneId]) -> datetime | None:
        taken = zones & occupied
        if not taken <= free_from.keys():
            return None
        return max((free_from[zone] for zone in taken), default=None)

    return told


def removals(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    headings: Sequence[float] | None = None,
    occupied: Set[ZoneId] = frozenset(),
    *,
    bays: Set[str] | None = None,
    only_movable: bool = False,
) -> tuple[Removal, ...]:
    """Every single obstacle without which the step fits with these zones occupied.

    Things that can be moved come first. One search does for all of them: each obstacle is laid on
    the floor as a zone of its own, and a placement that takes just one of those needs just that one
    out of the way. Where only movable things are asked for and there are none, nothing is searched.
    """
    names = frozenset(one.id for one in plan.obstacles if not only_movable or movable(one))
    if not names:
        return ()
    found = _with_loose(plan, parts, None if headings is None else tuple(headings), names)
    best: dict[str, Placement] = {}
    for placement in found:
        loose = [zone for zone in placement.zones if zone.startswith(_LOOSE)]
        if not in_some_bay(placement, bays):
            continue
        if len(loose) == 1 and placement.zones.isdisjoint(occupied):
            thing = loose[0].removeprefix(_LOOSE)
            if thing not in best or placement.margin_mm > best[thing].margin_mm:
                best[thing] = _put_aside(placement, loose[0])
    told = [Removal(o.id, movable(o), best[o.id]) for o in plan.obstacles if o.id in best]
    return tuple(sorted(told, key=lambda one: (not one.movable, -one.placement.margin_mm)))


def without(plan: FloorPlan, obstacle_id: str) -> FloorPlan:
    """The floor with one thing taken off it."""
    left = tuple(one for one in plan.obstacles if one.id != obstacle_id)
    return replace(plan, obstacles=left, digest=f"{plan.digest}/without {obstacle_id}")


def sides_in_order(shortfalls: Iterable[Shortfall]) -> list[Shortfall]:
    """Worst first, then as people look round a vehicle."""
    return sorted(shortfalls, key=lambda short: (-short.by_mm, SIDES.index(short.side)))


@lru_cache(maxsize=64)
def _with_loose(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    headings: tuple[float, ...] | None,
    names: frozenset[str],
) -> tuple[Placement, ...]:
    loose = {
        zone.id: zone
        for one in plan.obstacles
        if one.id in names
        for zone in [Zone(ZoneId(f"{_LOOSE}{one.id}"), one.id, "rest", one.polygon)]
    }
    bare = replace(
        plan,
        obstacles=tuple(one for one in plan.obstacles if one.id not in names),
        zones=MappingProxyType({**plan.zones, **loose}),
        digest=f"{plan.digest}/loose {sorted(names)}",
    )
    if headings is None:
        return search_placements(bare, parts).placements
    return placements(bare, parts, headings)


def _put_aside(placement: Placement, thing: ZoneId) -> Placement:
    zones = placement.zones - {thing}
    key = "+".join(sorted(zones)) + f"@{placement.pose.heading_deg:g}"
    return replace(placement, zones=zones, key=key)


def _sooner(way: Emptying) -> tuple[bool, float, float]:
    at = way.free_at
    return (at is None, at.timestamp() if at else 0.0, -way.placement.margin_mm)


def _order(way: Emptying) -> tuple[bool, float, int, list[str]]:
    at = way.free_at
    return (at is None, at.timestamp() if at else 0.0, len(way.zones), sorted(way.zones))
