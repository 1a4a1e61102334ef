"""Where a step comes nearest to fitting: which side must give way, by how much, against what."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import shapely
from shapely.geometry import Polygon, box

from bays.floor.check import SIDES, WALL, Shortfall, shortfall_on
from bays.floor.clearance import TOUCH_MM, Region, free_region, needed_margin_mm
from bays.floor.deepest import deepest_pose
from bays.floor.placement import Pose
from bays.floor.plan import Bay, FloorPlan
from bays.floor.shapes import Part
from bays.floor.words import FORGIVEN_MM

SHORTFALL_STEP_MM = FORGIVEN_MM
# Slivers of a part thinner than this hold no floor.
SLIVER_MM = 0.2
# Shortfalls as near to each other as this are the same to a person with a tape.
ALIKE_MM = 0.25
_PAIRS = tuple(itertools.product(("front", "rear"), ("left", "right")))


@dataclass(frozen=True)
class NearMiss:
    """The pose and what is short there in the empty shop: one side, or two where one is not enough.

    Drawing the clear zone in by every shortfall at once makes it fit at this pose.
    """

    pose: Pose
    shortfalls: tuple[Shortfall, ...]


class Standing(NamedTuple):
    """A heading, and the bays (by id) in one of which the body's centre lies; or anywhere."""

    heading_deg: float
    bay_ids: tuple[str, ...] | None = None


def standings(
    plan: FloorPlan,
    headings: Sequence[float] | None,
    bay: Bay | None = None,
    bays: Set[str] | None = None,
) -> tuple[Standing, ...]:
    """Given headings anywhere; or each bay's own heading and its reverse in that bay."""
    if headings is not None and bay is None:
        return tuple(Standing(heading) for heading in sorted({h % 360.0 for h in headings}))
    groups: dict[float, list[str]] = {}
    some = [one for one in plan.bays if bays is None or one.id in bays]
    for one in some if bay is None else (bay,):
        for heading in one.headings_deg if headings is None else headings:
            groups.setdefault(heading % 360.0, []).append(one.id)
    return tuple(Standing(heading, tuple(ids)) for heading, ids in groups.items())


@lru_cache(maxsize=128)
def nearest_miss(
    plan: FloorPlan, parts: tuple[Part, ...], standing: tuple[Standing, ...]
) -> NearMiss | None:
    """The least that one side must give way for the step to fit in the empty shop.

    Short by at most 0.5 mm too much. Where no single side is enough, the least sum of an end and a
    flank, found by halving one and then the other. The body gives nothing: ``None`` when it does
    not fit itself.
    """
    frames = [_Frame(plan, parts, one) for one in standing]
    found = _best_single(frames)
    if found is None:
        found = _best_pair(frames)
    if found is None:
        return None
    _, give, pose = found
    return NearMiss(pose, _told(plan, parts, pose, give))


def drawn_in(parts: Sequence[Part], give_mm: Mapping[str, float]) -> tuple[Part, ...]:
    """The clear zone cut back on the given sides of its bounds; the body stays whole."""
    west, south, east, north = _bounds(parts)
    kept = box(
        west + give_mm.get("rear", 0.0),
        south + give_mm.get("right", 0.0),
        east - give_mm.get("front", 0.0),
        north - give_mm.get("left", 0.0),
    )
    left: list[Part] = []
    for part in parts:
        piece = part.polygon if part.name == "body" else part.polygon.intersection(kept)
        if isinstance(piece, Polygon) and not piece.buffer(-SLIVER_MM / 2).is_empty:
            ring = tuple((float(x), float(y)) for x, y in piece.exterior.coords[:-1])
            left.append(Part(part.name, ring, part.needs_mm))
    return tuple(left)


_Give = dict[str, float]
_Found = tuple["_Frame", _Give, Pose]


class _Frame:
    """The parts at one heading, given way to be tried on."""

    def __init__(self, plan: FloorPlan, parts: tuple[Part, ...], standing: Standing) -> None:
        self.plan = plan
        self.parts = parts
        self.heading_deg = standing.heading_deg
        self.needs_mm = needed_margin_mm(parts)
        ids = standing.bay_ids
        areas = [bay.area for bay in plan.bays if ids is not None and bay.id in ids]
        self.area: Any | None = None if ids is None else shapely.union_all(areas)
        self.most = _most_give(parts)

    def fits(self, give: _Give) -> bool:
        region = self._region(give)
        domain = region.free
        if self.area is not None:
            domain = domain.intersection(region.standing_in(self.area))
        return not shapely.buffer(domain, -TOUCH_MM / 4, join_style="mitre").is_empty

    def pose(self, give: _Give) -> Pose | None:
        region = self._region(give)
        allowed = None if self.area is None else region.standing_in(self.area)
        spot = deepest_pose(region.free, allowed)
        return None if spot is None else Pose(spot[0], spot[1], self.heading_deg)

    def least(self, side: str, rest: _Give, most: float) -> float | None:
        """The least this side must give beside the rest; ``None`` when ``most`` is not enough."""
        low, high = 0.0, most
        if high < 0 or not self.fits({**rest, side: high}):
            return None
        while high - low > SHORTFALL_STEP_MM:
            middle = (low + high) / 2
            if self.fits({**rest, side: middle}):
                high = middle
            else:
                low = middle
        return high

    def _region(self, give: _Give) -> Region:
        return free_region(self.plan, drawn_in(self.parts, give), self.heading_deg, self.needs_mm)


def _best_single(frames: Iterable[_Frame]) -> _Found | None:
    """The least; of several as small, one that is short against a thing rather than a wall."""
    least = float("inf")
    found: list[tuple[float, _Frame, str]] = []
    for frame in frames:
        for side in SIDES:
            give = frame.least(side, {}, min(frame.most[side], least + ALIKE_MM))
            if give is not None:
                least = min(least, give)
                found.append((give, frame, side))
    alike = [
        _posed((frame, {side: give})) for give, frame, side in found if give <= least + ALIKE_MM
    ]
    posed = [one for one in alike if one is not None]
    return min(posed, key=lambda one: _only_walls(*one), default=None)


def _only_walls(frame: _Frame, give: _Give, pose: Pose) -> tuple[bool, float]:
    told = _told(frame.plan, frame.parts, pose, give)
    return all(short.against == (WALL,) for short in told), sum(give.values())


def _best_pair(frames: Iterable[_Frame]) -> _Found | None:
    best: tuple[_Frame, _Give] | None = None
    limit = float("inf")
    for frame in frames:
        for end, flank in _PAIRS:
            for first, second in ((end, flank), (flank, end)):
                give = _pair(frame, first, second)
                if give is not None and sum(give.values()) < limit:
                    best, limit = (frame, give), sum(give.values())
    return _posed(best)


def _pair(frame: _Frame, first: str, second: str) -> _Give | None:
    """The least of the first with the second given way altogether, then the least of the second."""
    a = frame.least(first, {second: frame.most[second]}, frame.most[first])
    if a is None:
        return None
    b = frame.least(second, {first: a}, frame.most[second])
    return None if b is None else {first: a, second: b}


def _posed(best: tuple[_Frame, _Give] | None) -> _Found | None:
    if best is None:
        return None
    pose = best[0].pose(best[1])
    return None if pose is None else (*best, pose)


def _told(
    plan: FloorPlan, parts: tuple[Part, ...], pose: Pose, give: _Give
) -> tuple[Shortfall, ...]:
    """What stands in the way on each side once the others have given way."""
    told = []
    for side in give:
        rest = {other: by for other, by in give.items() if other != side}
        told.append(shortfall_on(plan, drawn_in(parts, rest), pose, side))
    return tuple(sorted(told, key=lambda short: -short.by_mm))


def _bounds(parts: Iterable[Part]) -> tuple[float, float, float, float]:
    west, south, east, north = shapely.union_all([part.polygon for part in parts]).bounds
    return float(west), float(south), float(east), float(north)


def _most_give(parts: Sequence[Part]) -> dict[str, float]:
    """Up to the body, which can give nothing."""
    west, south, east, north = _bounds(parts)
    x0, y0, x1, y1 = _bounds(part for part in parts if part.name == "body")
    return {"front": east - x1, "rear": x0 - west, "left": north - y1, "right": y0 - south}
