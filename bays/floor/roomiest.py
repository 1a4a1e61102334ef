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

from bays.floor.boxes import Boxes, Question, standing_off
from bays.floor.clearance import TOUCH_MM
from bays.floor.pieces import SOLID, Bools, Floats, Ints
from bays.floor.separation import Poses, all_gaps, contacts

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
    x, y, heading = boxes.middle.T
    poses = Poses.at(x, y, heading)
    most, here = np.full(count, np.inf), np.full(count, np.inf)
    weight = np.zeros((count, 3))
    least: dict[tuple[int, int], Floats] = {}
    for (k, g), (box, piece) in pairs.items():
        arm = question.asked.arms[k]
        bound, room, low, weights = _pair_bounds(question, boxes, poses, (k, g), box, piece, arm)
        least[k, g] = low
        np.minimum.at(here, box, room)
        np.minimum.at(most, box, bound)
        first = bound <= most[box]
        weight[box[first]] = weights[first]
    for key, low in least.items():
        box, piece = pairs[key]
        near = low <= most[box]
        pairs[key] = (box[near], piece[near])
    off = standing_off(question, Boxes(x, y, heading, np.empty((count, 0), dtype=bool)))
    outside = off > TOUCH_MM
    arm = max(question.asked.arms)
    reach = (
        np.hypot(boxes.half[:, 0], boxes.half[:, 1])
        + math.hypot(*question.asked.body) * boxes.half[:, 2]
    )
    most[off > reach + TOUCH_MM] = -np.inf
    weight[outside] = boxes.half[outside] * np.array([1.0, 1.0, arm])
    _take_up(boxes, np.where(outside, -np.inf, here), best, question.asked.margin_mm)
    # not what bounds the box, but another piece takes the room at its middle
    stuck = most - here > 1.5 * weight.sum(axis=1)
    weight[stuck] = boxes.half[stuck] * np.array([1.0, 1.0, arm])
    return most, weight


def _pair_bounds(
    question: Question,
    boxes: Span,
    poses: Poses,
    key: tuple[int, int],
    box: Ints,
    piece: Ints,
    arm: float,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Upper bound, room at the middle, lower bound, and weights of x, y and heading."""
    k, g = key
    met = contacts(question.asked.shapes[k], question.floor.groups[g].shape, poses.take(box), piece)
    hx, hy, half_rad = boxes.half[box].T
    moved, turn = np.hypot(hx, hy), arm * half_rad
    every = moved + turn
    nx, ny = np.abs(met.along).T
    gap = np.maximum(met.distance, 0.0)
    # turning by a moves a point at r by sin(a) times its lever and (1 - cos(a)) r at most; a side
    # of the part turns with it: its normal by the angle, the foot on it by gap x angle
    swing = met.lever * half_rad + (arm + gap) * half_rad**2 / 2
    ahead = nx * hx + ny * hy + swing + half_rad * moved
    across = ny * hx + nx * hy + turn + half_rad * (moved + gap)
    # only what goes past the side's ends counts across
    beyond = np.maximum(across - met.slack, 0.0)
    beyond[met.slack < 0] = np.inf
    overlaps = np.flatnonzero((met.distance <= 0) & (beyond == 0))
    beyond[met.distance <= 0] = np.inf
    facing = np.hypot(gap + ahead, beyond)
    bound = np.minimum(met.distance + every, facing)
    if len(overlaps):
        # to come apart they must along some side's normal; along this one they face each other
        shape, solid = question.asked.shapes[k], question.floor.groups[g].shape
        here, normal = poses.take(box[overlaps]), met.along[overlaps]
        gaps, tilts = all_gaps(shape, solid, here, piece[overlaps], normal)
        far = every[overlaps]
        apart = (gaps + np.minimum(far, ahead[overlaps] + tilts * far)).max(axis=0)
        bound[overlaps] = np.minimum(bound[overlaps], apart)
    beyond[overlaps] = 0.0
    lean = np.minimum(beyond, every) / np.maximum(every, 1e-9)
    weights = np.stack([(nx + lean * ny) * hx, (ny + lean * nx) * hy, swing + lean * turn], axis=1)
    return bound, met.distance, met.distance - every, weights


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
