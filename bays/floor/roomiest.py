"""The pose with the most room all round, for many questions at once, by branch and bound.

The distance between a part and a piece changes by no more than their nearest points move: towards
each other along the line between them, or across it once a corner leaves the side it faces. So a
box of poses holds no more room than its middle plus that. Boxes that cannot beat the best pose so
far are dropped, the others halved in the directions in which most may change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bays.floor.boxes import Question, standing_off
from bays.floor.clearance import TOUCH_MM
from bays.floor.pieces import SOLID, Bools, Floats, Ints
from bays.floor.room_in_boxes import Bounds, Middles, bound
from bays.floor.separation import ring_of, rings_of

SHORT_OF_BEST_MM = 0.9
MOST_ROUNDS = 80
MOST_BOXES = 30_000

Pairs = dict[tuple[int, int], tuple[Ints, Ints]]


@dataclass(eq=False)
class Span:
    """Boxes of different sizes (``half``: x, y in mm and heading in radians), each for one target.

    ``open_to[t, z]``: target t may use zone z, which then is no obstacle.
    """

    target: Ints
    middle: Floats
    half: Floats

    def __len__(self) -> int:
        return len(self.target)

    def take(self, which: Ints | Bools) -> Span:
        return Span(self.target[which], self.middle[which], self.half[which])


@dataclass(eq=False)
class Best:
    """The best pose of each target so far: (x, y, heading) and its room, -inf for none."""

    pose: Floats
    room_mm: Floats


def roomiest(
    question: Question, open_to: Bools, start: Span, best: Best, short_mm: float = SHORT_OF_BEST_MM
) -> Span | None:
    """Improve ``best`` for each target until it is short of the greatest room by at most
    ``short_mm``, counting only poses that keep the margin needed. The boxes left if that is not
    reached."""
    boxes, pairs = start, _first_pairs(question, open_to, start)
    least = question.asked.margin_mm - TOUCH_MM
    for _ in range(MOST_ROUNDS):
        most, weight = _bounds(question, boxes, pairs, best)
        keep = most > np.maximum(best.room_mm[boxes.target] + short_mm, least)
        if not keep.any():
            return None
        if keep.sum() > MOST_BOXES:
            return boxes.take(keep)
        boxes, pairs = _halved(boxes, pairs, keep, weight)
    return boxes


def _first_pairs(question: Question, open_to: Bools, boxes: Span) -> Pairs:
    pairs: Pairs = {}
    for g, group in enumerate(question.floor.groups):
        matters = np.ones((len(open_to), len(group.owner)), dtype=bool)
        zoned = group.owner != SOLID
        matters[:, zoned] = ~open_to[:, group.owner[zoned]]
        box, piece = np.nonzero(matters[boxes.target])
        for k in range(len(question.asked.shapes)):
            pairs[k, g] = (box, piece)
    return pairs


def _bounds(question: Question, boxes: Span, pairs: Pairs, best: Best) -> tuple[Floats, Floats]:
    """The most room in each box, and how much of it each direction may account for. Takes up
    better poses, and leaves out pieces that are nowhere in the box the nearest."""
    count = len(boxes)
    x, y, heading = (np.ascontiguousarray(column) for column in boxes.middle.T)
    middles = Middles(boxes.middle, boxes.half, np.cos(heading), np.sin(heading))
    bounds = Bounds(np.full(count, np.inf), np.full(count, np.inf), np.zeros((count, 3)))
    most, here, weight = bounds
    asked, least = question.asked, {}
    for (k, g), (box, piece) in pairs.items():
        low = least[k, g] = np.empty(len(box))
        part, solid = ring_of(asked.shapes[k]), rings_of(question.floor.groups[g].shape)
        bound(part, asked.arms[k], solid, middles, (box, piece), bounds, low)
    for key, low in least.items():
        box, piece = pairs[key]
        near = low <= most[box]
        pairs[key] = (box[near], piece[near])
    off = standing_off(question, x, y, heading)
    outside = off > TOUCH_MM
    arm = max(asked.arms)
    reach = (
        np.hypot(boxes.half[:, 0], boxes.half[:, 1]) + math.hypot(*asked.body) * boxes.half[:, 2]
    )
    most[off > reach + TOUCH_MM] = -np.inf
    weight[outside] = boxes.half[outside] * np.array([1.0, 1.0, arm])
    _take_up(boxes, np.where(outside, -np.inf, here), best, asked.margin_mm)
    # not what bounds the box, but another piece takes the room at its middle
    stuck = most - here > 1.5 * weight.sum(axis=1)
    weight[stuck] = boxes.half[stuck] * np.array([1.0, 1.0, arm])
    return most, weight


def _take_up(boxes: Span, room: Floats, best: Best, margin_mm: float) -> None:
    good = np.flatnonzero(room >= margin_mm - TOUCH_MM / 2)
    order = good[np.argsort(room[good])]
    top = dict(zip(boxes.target[order].tolist(), order.tolist(), strict=True))
    for target, i in top.items():
        if room[i] > best.room_mm[target]:
            best.room_mm[target], best.pose[target] = room[i], boxes.middle[i]


def _halved(boxes: Span, pairs: Pairs, keep: Bools, weight: Floats) -> tuple[Span, Pairs]:
    """Halve the boxes kept in each direction that accounts for much of what is open."""
    place = np.cumsum(keep) - 1
    boxes, weight = boxes.take(keep), weight[keep]
    kept: Pairs = {}
    for key, (box, piece) in pairs.items():
        still = keep[box]
        kept[key] = (place[box[still]], piece[still])
    for axis in range(3):
        much = weight[:, axis] >= 0.6 * weight.max(axis=1)
        boxes, kept, weight = _split(boxes, kept, weight, much, axis)
    return boxes, kept


def _split(
    boxes: Span, pairs: Pairs, weight: Floats, which: Bools, axis: int
) -> tuple[Span, Pairs, Floats]:
    if not which.any():
        return boxes, pairs, weight
    low, high = boxes, boxes.take(which)
    half = boxes.half.copy()
    half[which, axis] /= 2
    low_middle, high_middle = low.middle.copy(), high.middle.copy()
    low_middle[which, axis] -= half[which, axis]
    high_middle[:, axis] += half[which, axis]
    moved = len(boxes) + np.cumsum(which) - 1
    both = Span(
        np.concatenate([low.target, high.target]),
        np.concatenate([low_middle, high_middle]),
        np.concatenate([half, half[which]]),
    )
    more: Pairs = {}
    for key, (box, piece) in pairs.items():
        also = which[box]
        more[key] = (
            np.concatenate([box, moved[box[also]]]),
            np.concatenate([piece, piece[also]]),
        )
    return both, more, np.concatenate([weight, weight[which]])
