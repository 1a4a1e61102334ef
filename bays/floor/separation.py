"""How far apart a part of the clear zone and a piece of the floor are, compiled.

Two convex shapes overlap when no side of either has the other wholly on its outer side. The
greatest gap seen along the sides' normals is their distance where a corner faces a side, and less
than it where two corners face each other; when negative, its size is the least distance by which
one must be moved to touch the other. Either changes by no more than the part's points move.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from numba import njit

from bays.floor.pieces import Convex, Floats

# Corners level with each other by this much face the same side together.
LEVEL_MM = 1e-6


class Ring(NamedTuple):
    """One convex polygon in its own frame, for compiled code."""

    corners: Floats
    normals: Floats
    offsets: Floats


class Rings(NamedTuple):
    """Convex polygons with the same number of corners, on the floor, for compiled code."""

    corners: Floats
    normals: Floats


def ring_of(part: Convex) -> Ring:
    return Ring(part.corners[0], part.normals[0], part.offsets[0])


def rings_of(solid: Convex) -> Rings:
    return Rings(solid.corners, solid.normals)


@njit(cache=True, nogil=True)
def into_frame(
    solid: Rings, piece: int, x: float, y: float, c: float, s: float, seen: Floats
) -> None:
    """Corners (rows 0 and 1) and normals (2 and 3) of a piece, in the frame of the part."""
    for j in range(solid.corners.shape[1]):
        bx, by = solid.corners[piece, j, 0] - x, solid.corners[piece, j, 1] - y
        mx, my = solid.normals[piece, j, 0], solid.normals[piece, j, 1]
        seen[0, j], seen[1, j] = c * bx + s * by, c * by - s * bx
        seen[2, j], seen[3, j] = c * mx + s * my, c * my - s * mx


@njit(cache=True, nogil=True)
def own_gap(part: Ring, i: int, seen: Floats) -> float:
    """How far out the piece's nearest corner is along the normal of a side of the part."""
    nx, ny = part.normals[i, 0], part.normals[i, 1]
    lowest = nx * seen[0, 0] + ny * seen[1, 0]
    for j in range(1, seen.shape[1]):
        lowest = min(lowest, nx * seen[0, j] + ny * seen[1, j])
    return lowest - part.offsets[i]


@njit(cache=True, nogil=True)
def their_gap(part: Ring, j: int, seen: Floats) -> float:
    """How far out the part's nearest corner is along the normal of a side of the piece."""
    nx, ny = seen[2, j], seen[3, j]
    lowest = part.corners[0, 0] * nx + part.corners[0, 1] * ny
    for i in range(1, len(part.corners)):
        lowest = min(lowest, part.corners[i, 0] * nx + part.corners[i, 1] * ny)
    return lowest - (nx * seen[0, j] + ny * seen[1, j])


@njit(cache=True, nogil=True)
def greatest_gap(part: Ring, seen: Floats, enough: float) -> tuple[float, int, bool]:
    """The greatest gap, along which side, and whether that is a side of the part; or the first
    gap found that is more than ``enough``."""
    most, side, mine = -math.inf, 0, True
    for j in range(seen.shape[1]):
        gap = their_gap(part, j, seen)
        if gap > most:
            most, side, mine = gap, j, False
            if most > enough:
                return most, side, mine
    for i in range(len(part.offsets)):
        gap = own_gap(part, i, seen)
        if gap > most or (gap == most and not mine):
            most, side, mine = gap, i, True
            if most > enough:
                return most, side, mine
    return most, side, mine


@njit(cache=True, nogil=True)
def facing(
    part: Ring, seen: Floats, gap: float, side: int, mine: bool
) -> tuple[float, float, float, float, float]:
    """How the shapes face each other, from the greatest gap and its side.

    Their distance (negative: how deep); the direction from piece to part, in the frame of the part
    (two numbers); the slack, by how much either may slide along the side before two corners face
    each other (negative: they do); and the lever, how far beside the reference point they face each
    other: what turning works on.
    """
    if mine:
        ux, uy = -part.normals[side, 0], -part.normals[side, 1]
    else:
        ux, uy = seen[2, side], seen[3, side]
    part_low, part_high = _level(part.corners[:, 0], part.corners[:, 1], ux, uy, 1.0)
    low, high = _level(seen[0], seen[1], ux, uy, -1.0)
    # which of the two carries the side, and the other the corner
    if mine:
        slack = min(high - part_low, part_high - low)
        lever = max(abs(max(part_low, low)), abs(min(part_high, high)))
    else:
        slack = min(part_high - low, high - part_low)
        lever = max(abs(max(low, part_low)), abs(min(high, part_high)))
    if slack < 0 and gap > 0:
        gap = _corner_to_corner(part, seen)
    return gap, ux, uy, slack, lever


@njit(cache=True, nogil=True)
def _level(x: Floats, y: Floats, ux: float, uy: float, sign: float) -> tuple[float, float]:
    """Where the corners farthest against ``u`` (along it: ``sign`` -1) begin and end across it."""
    deepest = math.inf
    for i in range(len(x)):
        deepest = min(deepest, sign * (ux * x[i] + uy * y[i]))
    low, high = math.inf, -math.inf
    for i in range(len(x)):
        if sign * (ux * x[i] + uy * y[i]) <= deepest + LEVEL_MM:
            across = uy * x[i] - ux * y[i]
            low, high = min(low, across), max(high, across)
    return low, high


@njit(cache=True, nogil=True)
def _corner_to_corner(part: Ring, seen: Floats) -> float:
    nearest = math.inf
    for i in range(len(part.corners)):
        for j in range(seen.shape[1]):
            dx, dy = seen[0, j] - part.corners[i, 0], seen[1, j] - part.corners[i, 1]
            nearest = min(nearest, dx * dx + dy * dy)
    return math.sqrt(nearest)
