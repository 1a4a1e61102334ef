"""Which minimal sets of zones there are, by halving boxes of poses until each is decided.

A box is done when all its poses are blocked, or all take at least the zones of a set already found.
The pose in its middle is judged exactly; what it shows is a new set. Every step keeps what is sure
of all poses of a box, so when no box is left, no other minimal set exists.
"""

from __future__ import annotations

import math

import numpy as np

from bays.floor.aligned import take_up_aligned
from bays.floor.boxes import Boxes, FoundSets, Level, Question, packed, standing_off
from bays.floor.clearance import TOUCH_MM
from bays.floor.judging import Known, Middles, judge
from bays.floor.pieces import Bools, Floats, Ints
from bays.floor.separation import ring_of, rings_of
from bays.floor.sieve import Grid, sieve

MOST_BOXES = 60_000
FINEST_MM = 0.02
ALIGN_BELOW_MM = 20.0
FEW_BOXES = 300
MOST_LOOKS = 4
LOOK_AT = (0.2, 0.5, 0.8)
SCREENED_AT_ONCE = 4_000_000
# Halving both ways: eight children; with a fixed heading only the position is halved.
_POSITIONS = [(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)]


def coarse(question: Question, headings: Floats, half_rad: float) -> Level:
    """The boxes that the sieve leaves, and in which the vehicle may stand as it must."""
    grid = Grid.over(question.floor.bounds)
    half_mm = grid.step_mm / 2
    kept = [
        boxes.take(_may_stand(question, boxes, half_mm * math.sqrt(2), half_rad))
        for boxes in sieve(question.floor, question.asked, grid, headings, half_rad)
    ]
    return Level(Boxes.joined(kept), half_mm, half_rad, {})


def undecided(found: FoundSets, level: Level) -> Level:
    """The boxes that may hold a set not yet found."""
    left = level.boxes.take(~found.within(level.boxes.taken))
    return Level(left, level.half_mm, level.half_rad, {})


def settle(question: Question, found: FoundSets, level: Level) -> Level:
    """Halve until nothing is left, the finest size is reached, or there are too many boxes.

    What is left may hold sets that are not found.
    """
    _look(question, found, level)
    level.pairs = _all_pairs(question, level)
    lined_up = False
    while True:
        _judge(question, found, level)
        too_many = len(level.boxes) * (8 if level.half_rad else 4) > MOST_BOXES
        if too_many or (level.half_mm <= ALIGN_BELOW_MM and not lined_up):
            lined_up = True
            take_up_aligned(question, found, level)
            level.keep(~found.within(level.boxes.taken))
            too_many = len(level.boxes) * (8 if level.half_rad else 4) > MOST_BOXES
        if too_many or not len(level.boxes) or level.half_mm <= FINEST_MM:
            return level
        level = _halved(level)


def _look(question: Question, found: FoundSets, level: Level) -> None:
    """Judge the middles of a few boxes of each kind, so that most boxes need no closer look."""
    for _ in range(MOST_LOOKS):
        boxes = level.boxes
        if len(boxes) < FEW_BOXES:
            return
        _, kind = np.unique(packed(boxes.taken), axis=0, return_inverse=True)
        some = np.unique(np.concatenate([_spread(kind, part) for part in LOOK_AT]))
        known = len(found.spots)
        sample = Level(boxes.take(some), level.half_mm, level.half_rad, {})
        sample.pairs = _all_pairs(question, sample)
        _judge(question, found, sample)
        level.boxes = boxes.take(~found.within(boxes.taken))
        if len(found.spots) == known and len(level.boxes) == len(boxes):
            return


def _spread(kind: Ints, part: float) -> Ints:
    """For each kind the box that lies at this part of the way through them."""
    order = np.argsort(kind, kind="stable")
    starts = np.searchsorted(kind[order], np.arange(kind.max() + 1))
    ends = np.append(starts[1:], len(kind))
    picked: Ints = order[(starts + part * (ends - 1 - starts)).astype(int)]
    return picked


def _may_stand(question: Question, boxes: Boxes, spread_mm: float, half_rad: float) -> Bools:
    if question.standing is None or not len(boxes):
        return np.ones(len(boxes), dtype=bool)
    reach = spread_mm + math.hypot(*question.asked.body) * half_rad + TOUCH_MM
    return standing_off(question, boxes.x, boxes.y, boxes.heading) <= reach


def _all_pairs(question: Question, level: Level) -> dict[tuple[int, int], tuple[Ints, Ints]]:
    pairs: dict[tuple[int, int], tuple[Ints, Ints]] = {}
    boxes, asked = level.boxes, question.asked
    for k, arm in enumerate(asked.arms):
        reach = arm + asked.margin_mm + level.spread_mm
        for g, group in enumerate(question.floor.groups):
            at_once = max(SCREENED_AT_ONCE // len(group.radius), 1)
            found: list[tuple[Ints, Ints]] = []
            for start in range(0, len(boxes), at_once):
                x, y = boxes.x[start : start + at_once], boxes.y[start : start + at_once]
                far = np.hypot(x[:, None] - group.centre[:, 0], y[:, None] - group.centre[:, 1])
                box, piece = np.nonzero(far <= group.radius + reach)
                found.append((box + start, piece))
            if found:
                pairs[k, g] = (
                    np.concatenate([b for b, _ in found]),
                    np.concatenate([p for _, p in found]),
                )
    return pairs


def _judge(question: Question, found: FoundSets, level: Level) -> None:
    """Note what is sure of each box, take up new sets, and keep the boxes not yet decided."""
    boxes, floor, asked = level.boxes, question.floor, question.asked
    known = Known(
        np.zeros(len(boxes), dtype=bool),
        np.zeros(len(boxes), dtype=bool),
        boxes.taken,
        boxes.taken.copy(),
    )
    middles = Middles(boxes.x, boxes.y, np.cos(boxes.heading), np.sin(boxes.heading))
    for (k, g), (box, piece) in level.pairs.items():
        group, part = floor.groups[g], ring_of(asked.shapes[k])
        moves = level.spread_mm + asked.arms[k] * level.half_rad
        open_still = np.empty(len(box), dtype=bool)
        judge(
            part,
            rings_of(group.shape),
            group.owner,
            middles,
            (box, piece),
            asked.margin_mm,
            moves,
            known,
            open_still,
        )
        level.pairs[k, g] = (box[open_still], piece[open_still])
    good = ~known.middle_blocked
    if question.standing is not None:
        good &= standing_off(question, boxes.x, boxes.y, boxes.heading) <= TOUCH_MM
    _take_up(found, known.middle_taken[good], boxes.take(good))
    keep = ~known.blocked
    keep[keep] = ~found.within(boxes.taken[keep])
    keep[keep] = _may_stand(question, boxes.take(keep), level.spread_mm, level.half_rad)
    level.keep(keep)


def _take_up(found: FoundSets, rows: Bools, boxes: Boxes) -> None:
    if not len(rows):
        return
    fresh = ~found.within(rows)
    rows, boxes = rows[fresh], boxes.take(fresh)
    if not len(rows):
        return
    _, first = np.unique(rows, axis=0, return_index=True)
    by_size = sorted(first.tolist(), key=lambda i: int(rows[i].sum()))
    spots = [(float(boxes.x[i]), float(boxes.y[i]), float(boxes.heading[i])) for i in by_size]
    found.add(rows[by_size], spots)


def _halved(level: Level) -> Level:
    half_mm, half_rad = level.half_mm / 2, level.half_rad / 2
    turns = (-half_rad, half_rad) if half_rad else (0.0,)
    moves = np.array([(dx * half_mm, dy * half_mm, t) for dx, dy in _POSITIONS for t in turns])
    boxes, count = level.boxes, len(moves)
    children = Boxes(
        (boxes.x[:, None] + moves[:, 0]).ravel(),
        (boxes.y[:, None] + moves[:, 1]).ravel(),
        (boxes.heading[:, None] + moves[:, 2]).ravel(),
        np.repeat(boxes.taken, count, axis=0),
    )
    pairs = {
        key: (
            (box[:, None] * count + np.arange(count)).ravel(),
            np.repeat(piece, count),
        )
        for key, (box, piece) in level.pairs.items()
    }
    return Level(children, half_mm, half_rad, pairs)
