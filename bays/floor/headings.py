"""Where a vehicle fits at any heading: searched with a bound, so that "nowhere" can be proven.

Headings are not sampled. All poses are covered by boxes of positions and headings; what is sure of
every pose in a box decides it, or it is halved (:mod:`bays.floor.sieve`,
:mod:`bays.floor.subdivision`). The room of each set found is then the greatest over all its poses
(:mod:`bays.floor.roomiest`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from bays.floor.aligned import lined_up_headings
from bays.floor.boxes import Boxes, FoundSets, Level, Question
from bays.floor.needed import needed
from bays.floor.pieces import Bools, Floats, convex_rings, pieces_of, together
from bays.floor.placement import Fit, Placement, Pose, best_fit, in_order, placed
from bays.floor.plan import Bay, FloorPlan, ZoneId
from bays.floor.roomiest import SHORT_OF_BEST_MM, Best, Span, roomiest
from bays.floor.shapes import Part
from bays.floor.subdivision import coarse, settle, undecided

RANGES = 48
FIT_RANGES = 16
# Margins at other headings than a bay's may be short of the greatest by this.
ASKEW_SHORT_MM = 3.0
KEPT_SEARCHES = 256

Held = tuple[int, ...]
Rooms = dict[Held, tuple[Pose, float]]


@dataclass(frozen=True)
class Search:
    """Every minimal set of zones found, each with its roomiest pose.

    ``proven`` says that no other minimal set exists at any heading: with no placement, that
    nothing fits. Otherwise what was not found may still exist.
    """

    placements: tuple[Placement, ...]
    proven: bool


@dataclass(frozen=True)
class FitSearch:
    """``proven`` with no fit says that no pose fits; without it, that none was found. With a fit,
    that no pose has over 1 mm more room; otherwise the margin may not be the greatest."""

    fit: Fit | None
    proven: bool


def search_placements(
    plan: FloorPlan, parts: tuple[Part, ...], *, anywhere: bool = False
) -> Search:
    """Every minimal set of zones over all poses and headings.

    The vehicle stands in a bay (its body's centre in the bay's zones), or with ``anywhere`` where
    it likes, the pose of each set being the roomiest at any heading. In a bay, a set that can be
    had along the bay's heading or its reverse has its pose there, for a technician sets up square
    to the bay where that will do; other headings serve only sets that no bay's heading gives.
    Margins are short of the greatest by at most 1 mm along a bay and 3 mm at other headings, or
    by more where very many poses are all but equally roomy. Cached, least recently used leaving
    first.
    """
    told = None if anywhere else _told.get((plan, parts))
    return told or _searched(plan, parts, anywhere)


def tell_search(plan: FloorPlan, parts: tuple[Part, ...], search: Search) -> None:
    """Spare this process a search in bays that was made before, by this same method."""
    while len(_told) >= KEPT_SEARCHES:
        _told.pop(next(iter(_told)), None)
    _told[plan, parts] = search


_told: dict[tuple[FloorPlan, tuple[Part, ...]], Search] = {}


def search_fit(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    occupied: Set[ZoneId] = frozenset(),
    headings: Sequence[float] | None = None,
) -> FitSearch:
    """The roomiest pose anywhere on the floor, the margin counted against walls, obstacles and
    occupied zones; at these headings only, or at any (``None``). Cached, as above."""
    if headings is not None:
        return FitSearch(best_fit(plan, parts, headings, occupied), proven=True)
    return _fitted(plan, parts, frozenset(occupied))


@lru_cache(maxsize=KEPT_SEARCHES)
def _searched(plan: FloorPlan, parts: tuple[Part, ...], anywhere: bool) -> Search:
    found, rooms, proven = FoundSets(), Rooms(), True
    if not anywhere:
        for headings, bays in _bays_by_heading(plan):
            proven &= _square_to(_question(plan, parts, bays), headings, found, rooms)
    square = set(found.spots)
    question = _question(plan, parts, None if anywhere else plan.bays)
    half_rad = math.pi / RANGES
    middles = np.asarray(half_rad * (2 * np.arange(RANGES) + 1), dtype=np.float64)
    everywhere = coarse(question, middles, half_rad)
    left = settle(question, found, undecided(found, everywhere))
    proven &= _all_blocked(question, left)
    askew = FoundSets({held: spot for held, spot in found.spots.items() if held not in square})
    _measure(question, askew, everywhere, rooms, ASKEW_SHORT_MM)
    names = question.floor.zones
    answers = [
        placed(plan, parts, frozenset(names[i] for i in held), *rooms[held])
        for held in found.spots
        if held in rooms
    ]
    return Search(in_order(answers), proven)


def _question(plan: FloorPlan, parts: tuple[Part, ...], bays: Iterable[Bay] | None) -> Question:
    standing = None
    if bays is not None:
        standing = together([ring for bay in bays for ring in convex_rings(bay.area)])
    return Question(pieces_of(plan), needed(parts), standing)


def _bays_by_heading(plan: FloorPlan) -> list[tuple[Floats, list[Bay]]]:
    groups: dict[frozenset[float], list[Bay]] = {}
    for bay in plan.bays:
        groups.setdefault(frozenset(bay.headings_deg), []).append(bay)
    return [(np.radians(sorted(headings)), bays) for headings, bays in groups.items()]


def _square_to(question: Question, headings: Floats, found: FoundSets, rooms: Rooms) -> bool:
    """Take up the sets at these headings, with their rooms; whether all were decided."""
    whole = coarse(question, headings, 0.0)
    here = FoundSets()
    left = settle(question, here, undecided(here, whole))
    _measure(question, here, whole, rooms)
    for held, spot in here.spots.items():
        row = np.zeros((1, len(question.floor.zones)), dtype=bool)
        row[0, list(held)] = True
        found.add(row, [spot])
    return _all_blocked(question, left)


def _all_blocked(question: Question, left: Level) -> bool:
    """Whether walls and obstacles block every pose of the boxes left undecided."""
    if not len(left.boxes):
        return True
    open_to = np.ones((1, len(question.floor.zones)), dtype=bool)
    best = Best(np.zeros((1, 3)), np.array([-np.inf]))
    undone = roomiest(question, open_to, _span(0, open_to[0], left), best)
    return undone is None and math.isinf(float(best.room_mm[0]))


def _measure(
    question: Question,
    found: FoundSets,
    whole: Level,
    rooms: Rooms,
    short_mm: float = SHORT_OF_BEST_MM,
) -> None:
    """The roomiest pose of each set found, over the boxes of the whole level."""
    held = list(found.spots)
    if not held:
        return
    open_to = np.zeros((len(held), len(question.floor.zones)), dtype=bool)
    for target, zones in enumerate(held):
        open_to[target, list(zones)] = True
    spans = [_span(target, open_to[target], whole) for target in range(len(held))]
    seeds = np.array([found.spots[zones] for zones in held])
    start = Span(
        np.concatenate([np.arange(len(held)), *(span.target for span in spans)]),
        np.concatenate([seeds, *(span.middle for span in spans)]),
        np.concatenate([np.zeros_like(seeds), *(span.half for span in spans)]),
    )
    best = Best(seeds.copy(), np.full(len(held), -np.inf))
    roomiest(question, open_to, start, best, short_mm)
    for target, zones in enumerate(held):
        room = float(best.room_mm[target])
        if math.isinf(room) or (zones in rooms and rooms[zones][1] >= room):
            continue
        rooms[zones] = (_pose(question, best.pose[target]), max(room, 0.0))


def _span(target: int, open_to: Bools, whole: Level) -> Span:
    """One box for each heading around all positions that may make do with these zones."""
    boxes: Boxes = whole.boxes
    fits = np.flatnonzero(~(boxes.taken & ~open_to).any(axis=1))
    headings, kind = np.unique(boxes.heading[fits], return_inverse=True)
    low, high = np.full((len(headings), 2), np.inf), np.full((len(headings), 2), -np.inf)
    at = np.stack([boxes.x[fits], boxes.y[fits]], axis=1)
    np.minimum.at(low, kind, at)
    np.maximum.at(high, kind, at)
    middle = np.column_stack([(low + high) / 2, headings])
    half = np.column_stack(
        [(high - low) / 2 + whole.half_mm, np.full(len(headings), whole.half_rad)]
    )
    return Span(np.full(len(headings), target), middle, half)


def _pose(question: Question, spot: Floats) -> Pose:
    """From the reference point to the middle of the rear axle."""
    x, y, heading = (float(value) for value in spot)
    rx, ry = question.asked.reference
    c, s = math.cos(heading), math.sin(heading)
    return Pose(x - c * rx + s * ry, y - s * rx - c * ry, _degrees(heading))


def _degrees(heading_rad: float) -> float:
    """Headings told in whole thousandths of a millionth of a degree: 90, not 90.00000000000001."""
    return round(math.degrees(heading_rad), 9) % 360.0


@lru_cache(maxsize=KEPT_SEARCHES)
def _fitted(plan: FloorPlan, parts: tuple[Part, ...], occupied: frozenset[ZoneId]) -> FitSearch:
    question = _question(plan, parts, None)
    zones = question.floor.zones
    open_to = np.array([[zone not in occupied for zone in zones]], dtype=bool).reshape(1, -1)
    west, south, east, north = question.floor.bounds
    half_rad = math.pi / FIT_RANGES
    headings = half_rad * (2 * np.arange(FIT_RANGES) + 1)
    middle = np.array([[(west + east) / 2, (south + north) / 2, h] for h in headings])
    half = np.tile([(east - west) / 2, (north - south) / 2, half_rad], (FIT_RANGES, 1))
    best = Best(np.zeros((1, 3)), np.array([-np.inf]))
    start = Span(np.zeros(FIT_RANGES, dtype=np.int64), middle, half)
    left = roomiest(question, open_to, start, best)
    room = float(best.room_mm[0])
    fit = None if math.isinf(room) else Fit(_pose(question, best.pose[0]), max(room, 0.0))
    if left is not None and fit is None:
        lined_up = lined_up_headings(question, left.middle[:, 2], left.half[:, 2])
        fit = best_fit(plan, parts, lined_up, occupied) if lined_up else None
    return FitSearch(fit, proven=left is None)
