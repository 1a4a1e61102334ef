"""What the floor itself is like where a vehicle would stand, and whether it can be driven there."""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass
from typing import Literal, Protocol

from bays.floor.drive import Drive, Impossible, NotFound, WaysIn, ways_in
from bays.floor.placement import Placement, Pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.reach import reach
from bays.floor.shapes import VehicleShape
from bays.floor.verdict import Verdict


class Judged(Protocol):
    """What a level's and a light's answer have in common."""

    @property
    def verdict(self) -> Verdict: ...
    @property
    def says(self) -> str: ...
    @property
    def reason(self) -> str: ...


Way = Drive | NotFound | Impossible
Drivable = Literal["yes", "not found", "impossible"]


@dataclass(frozen=True)
class FloorVerdict:
    """One judgement of the floor under a clear zone: how level it is, or how well lit.

    ``says`` is one sentence with the figures and their limits; ``reason`` its code.
    """

    of: Literal["level", "light"]
    verdict: Verdict
    says: str
    reason: str


Judge = Callable[[Placement], Sequence[FloorVerdict]]
# The ways in to a pose, forward and in reverse, with these zones occupied.
FindWays = Callable[[Pose, frozenset[ZoneId]], WaysIn]


@dataclass(frozen=True)
class DriveFact:
    """Whether a vehicle can be driven from the door to where it fits.

    ``zones_to_empty`` are occupied zones that the way found crosses: with those empty it can be
    driven. ``only_in_reverse``: a way in reverse is known and none forward; ``forward_impossible``
    that there is none is proven.
    """

    drivable: Drivable
    only_in_reverse: bool = False
    forward_impossible: bool = False
    zones_to_empty: frozenset[ZoneId] = frozenset()
    direction_changes: int = 0
    minutes: float | None = None


def verdict_of(of: Literal["level", "light"], judged: Judged) -> FloorVerdict:
    """A level's or a light's answer as a verdict to be said."""
    return FloorVerdict(of, judged.verdict, judged.says, judged.reason)


def drive_fact(find: FindWays, placement: Placement, occupied: Set[ZoneId]) -> DriveFact:
    """Ask for the ways in with zones occupied, and where there is none, in the empty shop."""
    now = find(placement.pose, frozenset(occupied))
    known = _driven(now)
    if known is not None:
        return _fact("yes", now, known, frozenset())
    drivable: Drivable = (
        "impossible"
        if isinstance(now.forward, Impossible) and isinstance(now.reverse, Impossible)
        else "not found"
    )
    if not occupied:
        return DriveFact(drivable)
    empty = find(placement.pose, frozenset())
    known = _driven(empty)
    if known is None:
        return DriveFact(drivable)
    return _fact(drivable, empty, known, known.zones_crossed & occupied)


def _driven(ways: WaysIn) -> Drive | None:
    """The quicker of the ways that are known."""
    known = [way for way in (ways.forward, ways.reverse) if isinstance(way, Drive)]
    return min(known, key=lambda way: way.minutes, default=None)


def _fact(drivable: Drivable, ways: WaysIn, known: Drive, to_empty: frozenset[ZoneId]) -> DriveFact:
    return DriveFact(
        drivable,
        only_in_reverse=ways.only_in_reverse,
        forward_impossible=isinstance(ways.forward, Impossible),
        zones_to_empty=to_empty,
        direction_changes=known.direction_changes,
        minutes=known.minutes,
    )


def ways_from_doors(plan: FloorPlan, vehicle: VehicleShape, min_radius_mm: float) -> FindWays:
    """Looks for ways in from every door of the plan; of each kind the quickest counts.

    The first question about a set of occupied zones takes a flood of the floor for each door.
    """

    def find(pose: Pose, occupied: frozenset[ZoneId]) -> WaysIn:
        maps = (reach(plan, vehicle, min_radius_mm, door, occupied) for door in plan.doors)
        found = [ways_in(one, pose) for one in maps]
        return WaysIn(
            forward=_best_way([one.forward for one in found]),
            reverse=_best_way([one.reverse for one in found]),
        )

    return find


def _best_way(ways: Sequence[Way]) -> Way:
    """A way, the quickest; else one that is only not found; impossible if that is proven of all."""
    driven = [way for way in ways if isinstance(way, Drive)]
    if driven:
        return min(driven, key=lambda way: way.minutes)
    return next((way for way in ways if isinstance(way, NotFound)), ways[0])
