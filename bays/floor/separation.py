"""How far apart a part of the clear zone and a piece of the floor are, for many poses at once.

Two convex shapes overlap when no side of either has the other wholly on its outer side. The
greatest gap seen along the sides' normals is their distance where a corner faces a side, and less
than it where two corners face each other; when negative, its size is the least distance by which
one must be moved to touch the other. Either changes by no more than the part's points move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from bays.floor.pieces import Convex, Floats, Ints

PAIRS_AT_ONCE = 8_000
# Corners level with each other by this much face the same side together.
LEVEL_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Poses:
    """Positions of the reference point, and cosines and sines of the headings."""

    x: Floats
    y: Floats
    cos: Floats
    sin: Floats

    @classmethod
    def at(cls, x: Floats, y: Floats, heading_rad: Floats) -> Poses:
        return cls(x, y, np.cos(heading_rad), np.sin(heading_rad))

    def take(self, which: Ints | slice) -> Poses:
        return Poses(self.x[which], self.y[which], self.cos[which], self.sin[which])


class Contact(NamedTuple):
    """Distance (negative: how deep), the direction from piece to part on the floor, and by how much
    either may slide along the side before two corners face each other (negative: they do).

    ``lever`` is how far beside the reference point they face each other: what turning works on."""

    distance: Floats
    along: Floats
    slack: Floats
    lever: Floats


def gaps(part: Convex, solid: Convex, poses: Poses, pieces: Ints) -> Floats:
    """The gap for the i-th pose and the i-th piece; never more than their distance."""
    seen = (_seen(part, solid, some, which) for some, which in _batches(poses, pieces))
    found = [np.maximum(s.own.max(axis=0), s.theirs.max(axis=0)) for s in seen]
    return np.concatenate(found) if found else np.empty(0)


def contacts(part: Convex, solid: Convex, poses: Poses, pieces: Ints) -> Contact:
    """Distances and how the shapes face each other, for the i-th pose and the i-th piece."""
    found = [_contact(part, solid, p, w) for p, w in _batches(poses, pieces)]
    if not found:
        return Contact(np.empty(0), np.empty((0, 2)), np.empty(0), np.empty(0))
    return Contact(*(np.concatenate(column) for column in zip(*found, strict=True)))


def all_gaps(
    part: Convex, solid: Convex, poses: Poses, pieces: Ints, along: Floats
) -> tuple[Floats, Floats]:
    """(side, pair): the gap along every side's normal, and how far that normal's tip is from that
    of ``along`` (both from piece to part, on the floor)."""
    seen = _seen(part, solid, poses, pieces)
    c, s = poses.cos, poses.sin
    ux, uy = c * along[:, 0] + s * along[:, 1], c * along[:, 1] - s * along[:, 0]
    mx, my = part.normals[0].T[:, :, None]
    dots = np.concatenate([-(mx * ux + my * uy), seen.nx * ux + seen.ny * uy])
    return np.concatenate([seen.own, seen.theirs]), np.sqrt(np.maximum(2 - 2 * dots, 0.0))


def _batches(poses: Poses, pieces: Ints) -> list[tuple[Poses, Ints]]:
    starts = range(0, len(pieces), PAIRS_AT_ONCE)
    rows = [slice(start, start + PAIRS_AT_ONCE) for start in starts]
    return [(poses.take(row), pieces[row]) for row in rows]


class _Seen(NamedTuple):
    """Pieces in the part's frame, and the gaps along each side's normal: (corner or side, pair).

    Pairs come last, for sums and extremes over the few corners then run over whole rows.
    """

    px: Floats
    py: Floats
    nx: Floats
    ny: Floats
    own: Floats
    theirs: Floats


def _seen(part: Convex, solid: Convex, poses: Poses, pieces: Ints) -> _Seen:
    c, s = poses.cos, poses.sin
    bx = solid.corners[:, :, 0].T[:, pieces] - poses.x
    by = solid.corners[:, :, 1].T[:, pieces] - poses.y
    mx, my = solid.normals[:, :, 0].T[:, pieces], solid.normals[:, :, 1].T[:, pieces]
    px, py = c * bx + s * by, c * by - s * bx
    nx, ny = c * mx + s * my, c * my - s * mx
    own = _lowest(part.normals[0], px, py) - part.offsets[0][:, None]
    return _Seen(px, py, nx, ny, own, _lowest_corner(part.corners[0], nx, ny) - (nx * px + ny * py))


def _lowest(normals: Floats, px: Floats, py: Floats) -> Floats:
    """(side of part, pair): the corner of the piece least far out."""
    lowest = normals[:, :1] * px[0] + normals[:, 1:] * py[0]
    for x, y in zip(px[1:], py[1:], strict=True):
        np.minimum(lowest, normals[:, :1] * x + normals[:, 1:] * y, out=lowest)
    return lowest


def _lowest_corner(corners: Floats, nx: Floats, ny: Floats) -> Floats:
    """(side of piece, pair): the corner of the part least far out."""
    lowest = corners[0, 0] * nx + corners[0, 1] * ny
    for x, y in corners[1:]:
        np.minimum(lowest, x * nx + y * ny, out=lowest)
    return lowest


def _contact(part: Convex, solid: Convex, poses: Poses, pieces: Ints) -> Contact:
    seen = _seen(part, solid, poses, pieces)
    pairs = np.arange(len(pieces))
    i, j = seen.own.argmax(axis=0), seen.theirs.argmax(axis=0)
    own, theirs = seen.own[i, pairs], seen.theirs[j, pairs]
    mine = own >= theirs
    # the best normal, from piece to part, in the part's frame
    ux = np.where(mine, -part.normals[0, i, 0], seen.nx[j, pairs])
    uy = np.where(mine, -part.normals[0, i, 1], seen.ny[j, pairs])
    distance = np.maximum(own, theirs)
    x, y = part.corners[0].T[:, :, None]
    of_part = _facing(x, y, ux, uy, 1.0)
    of_piece = _facing(seen.px, seen.py, ux, uy, -1.0)
    # which of the two carries the side, and the other the corner
    ends, tip = np.where(mine, of_part, of_piece), np.where(mine, of_piece, of_part)
    slack = np.minimum(tip[1] - ends[0], ends[1] - tip[0])
    lever = np.maximum(np.abs(np.maximum(ends[0], tip[0])), np.abs(np.minimum(ends[1], tip[1])))
    bare = (slack < 0) & (distance > 0)
    if bare.any():
        distance[bare] = _corner_to_corner(part.corners[0], seen.px[:, bare], seen.py[:, bare])
    c, s = poses.cos, poses.sin
    along = np.stack([c * ux - s * uy, s * ux + c * uy], axis=1)
    return Contact(distance, along, slack, lever)


def _facing(x: Floats, y: Floats, ux: Floats, uy: Floats, sign: float) -> tuple[Floats, Floats]:
    """Where the corners farthest against ``u`` (along it: ``sign`` -1) begin and end across it."""
    deep = sign * (ux * x + uy * y)
    level = deep <= deep.min(axis=0) + LEVEL_MM
    across = uy * x - ux * y
    low = np.where(level, across, np.inf).min(axis=0)
    high = np.where(level, across, -np.inf).max(axis=0)
    return low, high


def _corner_to_corner(corners: Floats, px: Floats, py: Floats) -> Floats:
    nearest = np.full(px.shape[1], np.inf)
    for x, y in corners:
        np.minimum(nearest, ((px - x) ** 2 + (py - y) ** 2).min(axis=0), out=nearest)
    return np.sqrt(nearest)
