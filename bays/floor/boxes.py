"""Boxes of poses, what is known of them, and the sets of zones found so far."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.floor.needed import Needed
from bays.floor.pieces import Bools, Convex, Floats, Ints, Pieces

# Position of the reference point, and heading in radians.
Spot = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Boxes:
    """Boxes of poses about middles; ``taken[i, z]``: every pose of box i takes zone z."""

    x: Floats
    y: Floats
    heading: Floats
    taken: Bools

    def __len__(self) -> int:
        return len(self.x)

    def take(self, which: Ints | Bools) -> Boxes:
        return Boxes(self.x[which], self.y[which], self.heading[which], self.taken[which])

    @classmethod
    def joined(cls, several: list[Boxes]) -> Boxes:
        return cls(
            np.concatenate([b.x for b in several]),
            np.concatenate([b.y for b in several]),
            np.concatenate([b.heading for b in several]),
            np.concatenate([b.taken for b in several]),
        )


@dataclass(frozen=True, eq=False)
class Question:
    """``standing`` are the convex pieces of the bays, in one of which the body's centre must lie
    (``None``: anywhere on the floor)."""

    floor: Pieces
    asked: Needed
    standing: Convex | None


@dataclass(eq=False)
class FoundSets:
    """Minimal sets (rows of zones) with a pose of the reference point that shows each."""

    spots: dict[tuple[int, ...], Spot] = field(default_factory=dict)

    def add(self, rows: Bools, spots: Iterable[Spot]) -> None:
        for row, spot in zip(rows, spots, strict=True):
            held = set(np.flatnonzero(row).tolist())
            if any(held.issuperset(other) for other in self.spots):
                continue
            larger = [other for other in self.spots if held.issubset(other)]
            for other in larger:
                del self.spots[other]
            self.spots[tuple(sorted(held))] = spot

    def within(self, rows: Bools) -> Bools:
        """Whether a row holds at least one of the sets found."""
        if not self.spots or not len(rows):
            return np.zeros(len(rows), dtype=bool)
        table = np.zeros((len(self.spots), rows.shape[1]), dtype=bool)
        for row, held in enumerate(self.spots):
            table[row, list(held)] = True
        asked, have = packed(table), packed(rows)
        answer = np.zeros(len(rows), dtype=bool)
        for words in asked:
            answer |= ((have & words) == words).all(axis=1)
        return answer


def packed(rows: Bools) -> NDArray[np.uint64]:
    """Each row as whole 64-bit words."""
    spare = -rows.shape[1] % 64
    wide = np.pad(rows, ((0, 0), (0, spare)))
    return np.packbits(wide, axis=1).view(np.uint64)


@dataclass(eq=False)
class Level:
    """Boxes of one size, with the pairs (box, piece) of each part that are not yet decided."""

    boxes: Boxes
    half_mm: float
    half_rad: float
    pairs: dict[tuple[int, int], tuple[Ints, Ints]]

    @property
    def spread_mm(self) -> float:
        """The farthest position in a box from its middle."""
        return self.half_mm * math.sqrt(2)

    def keep(self, which: Bools) -> None:
        """Leave the other boxes out."""
        place = np.cumsum(which) - 1
        for key, (box, piece) in self.pairs.items():
            still = which[box]
            self.pairs[key] = (place[box[still]], piece[still])
        self.boxes = self.boxes.take(which)


def standing_off(question: Question, x: Floats, y: Floats, heading: Floats) -> Floats:
    """How far the body's centre, at each pose, is from where it must lie, or less."""
    if question.standing is None:
        return np.full(len(x), -np.inf)
    off: Floats = np.empty(len(x))
    bays = question.standing
    bx, by = question.asked.body
    _beyond(bays.normals, bays.offsets, bx, by, (x, y, np.cos(heading), np.sin(heading)), off)
    return off


@njit(cache=True, nogil=True)
def _beyond(
    normals: Floats,
    offsets: Floats,
    bx: float,
    by: float,
    poses: tuple[Floats, Floats, Floats, Floats],
    off: Floats,
) -> None:
    """How far the point (bx, by) of the vehicle is beyond the nearest bay's farthest side."""
    x, y, cos, sin = poses
    for i in range(len(x)):
        px = x[i] + cos[i] * bx - sin[i] * by
        py = y[i] + sin[i] * bx + cos[i] * by
        nearest = math.inf
        for bay in range(offsets.shape[0]):
            beyond = -math.inf
            for side in range(offsets.shape[1]):
                at = normals[bay, side, 0] * px + normals[bay, side, 1] * py - offsets[bay, side]
                beyond = max(beyond, at)
                if beyond >= nearest:
                    break
            nearest = min(nearest, beyond)
        off[i] = nearest
