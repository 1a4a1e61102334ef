"""How much room a box of poses can hold against one kind of piece, compiled.

Bounds from the middle of the box: see :mod:`bays.floor.roomiest`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from bays.floor.pieces import Floats, Ints
from bays.floor.separation import (
    Ring,
    Rings,
    facing,
    greatest_gap,
    into_frame,
    own_gap,
    their_gap,
)


class Middles(NamedTuple):
    """Boxes of poses: middles and half sizes (x, y, heading), cosines and sines of the headings."""

    middle: Floats
    half: Floats
    cos: Floats
    sin: Floats


class Bounds(NamedTuple):
    """For each box the most room it can hold, the room at its middle, and how much of the
    difference each direction (x, y, heading) may account for."""

    most: Floats
    here: Floats
    weight: Floats


@njit(cache=True, nogil=True)
def bound(
    part: Ring,
    arm: float,
    solid: Rings,
    boxes: Middles,
    pairs: tuple[Ints, Ints],
    bounds: Bounds,
    low: Floats,
) -> None:
    """Take up each pair (box, piece) in the bounds of its box. ``low`` is set to the least room
    against the piece in the box, or infinity where another piece is sure to be nearer."""
    box, piece = pairs
    seen = np.empty((4, solid.corners.shape[1]))
    for p in range(len(box)):
        b = box[p]
        c, s = boxes.cos[b], boxes.sin[b]
        hx, hy, half_rad = boxes.half[b, 0], boxes.half[b, 1], boxes.half[b, 2]
        every = math.hypot(hx, hy) + arm * half_rad
        into_frame(solid, piece[p], boxes.middle[b, 0], boxes.middle[b, 1], c, s, seen)
        enough = bounds.most[b] + every
        gap, side, mine = greatest_gap(part, seen, enough)
        if gap > enough:
            low[p] = math.inf
            continue
        distance, ux, uy, slack, lever = facing(part, seen, gap, side, mine)
        low[p] = distance - every
        bounds.here[b] = min(bounds.here[b], distance)
        nx, ny = abs(c * ux - s * uy), abs(s * ux + c * uy)
        gap = max(distance, 0.0)
        # turning by a moves a point at r by sin(a) times its lever and (1 - cos(a)) r at most; a
        # side of the part turns with it: its normal by the angle, the foot on it by gap x angle
        moved, turn = math.hypot(hx, hy), arm * half_rad
        swing = lever * half_rad + (arm + gap) * half_rad**2 / 2
        ahead = nx * hx + ny * hy + swing + half_rad * moved
        across = ny * hx + nx * hy + turn + half_rad * (moved + gap)
        # only what goes past the side's ends counts across
        beyond = math.inf if slack < 0 else max(across - slack, 0.0)
        most = distance + every
        if distance > 0:
            most = min(most, math.hypot(gap + ahead, beyond))
        elif beyond == 0:
            most = min(most, _coming_apart(part, seen, ux, uy, every, ahead))
        else:
            beyond = math.inf
        if most <= bounds.most[b]:
            lean = min(beyond, every) / max(every, 1e-9)
            bounds.most[b] = most
            bounds.weight[b, 0] = (nx + lean * ny) * hx
            bounds.weight[b, 1] = (ny + lean * nx) * hy
            bounds.weight[b, 2] = swing + lean * turn


@njit(cache=True, nogil=True)
def _coming_apart(
    part: Ring, seen: Floats, ux: float, uy: float, every: float, ahead: float
) -> float:
    """The most room where a part and a piece overlap: to come apart they must along some side's
    normal, and along ``u`` they face each other. A normal whose tip is farther from that of ``u``
    gains more by what is moved across."""
    most = -math.inf
    for i in range(len(part.offsets)):
        towards = -(part.normals[i, 0] * ux + part.normals[i, 1] * uy)
        tilt = math.sqrt(max(2 - 2 * towards, 0.0))
        most = max(most, own_gap(part, i, seen) + min(every, ahead + tilt * every))
    for j in range(seen.shape[1]):
        tilt = math.sqrt(max(2 - 2 * (seen[2, j] * ux + seen[3, j] * uy), 0.0))
        most = max(most, their_gap(part, j, seen) + min(every, ahead + tilt * every))
    return most
