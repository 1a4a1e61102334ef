"""Proof that a pose is not reached without reverse gear, compiled.

Poses are gathered in boxes (a square of places and an interval of headings). From a pose driven
on by a fixed length with any curvature up to 1 / least radius, the next pose lies in a known set;
the boxes that set can meet, from anywhere in the box, are the box's successors. A box is left out
only if the body at its middle, drawn in by as much as any point of it differs within the box, still
meets an edge. If the boxes reached from one end run out before they come near the other end, no
path without a change of direction joins the two. The boxes are reached from the goal backwards as
well: a vehicle parked nose out has few places it can have come from.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.floor.flood import fits, squares_of
from bays.floor.placement import Pose
from bays.floor.room import Body, Ground, Room

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]


class Boxes(NamedTuple):
    """Size of a box, the length driven from one to the next, and how many are visited at most."""

    across_mm: float
    headings: int
    step_mm: float
    most: int


SIZES = (
    Boxes(across_mm=100.0, headings=240, step_mm=1000.0, most=300_000),
    Boxes(across_mm=50.0, headings=480, step_mm=1000.0, most=600_000),
    Boxes(across_mm=30.0, headings=800, step_mm=1000.0, most=1_200_000),
)
# Marks for all boxes of a floor, one byte each; where there would be more, nothing is proven.
MOST_MARKS = 200_000_000


def only_with_reverse(room: Room, min_radius_mm: float, start: Pose, goal: Pose) -> bool:
    """``True``: proven that the vehicle cannot get from start to goal driving forward only.
    ``False`` proves nothing."""
    ends = [np.array([p.x_mm, p.y_mm, math.radians(p.heading_deg)]) for p in (start, goal)]
    for boxes in SIZES:
        for here, there, ahead in ((ends[1], ends[0], -1.0), (ends[0], ends[1], 1.0)):
            table = successors(boxes, min_radius_mm, ahead)
            most_turn = boxes.step_mm / min_radius_mm
            if _runs_out(room.ground, room.body, boxes, table[0], table[1], here, there, most_turn):
                return True
    return False


@njit(cache=True, nogil=True)
def successors(boxes: Boxes, radius: float, ahead: float) -> tuple[Ints, Ints]:
    """For every heading interval the boxes that one step can lead to, as differences of place and
    heading numbers: rows ``starts[k]`` to ``starts[k + 1]``."""
    wide = 2 * math.pi / boxes.headings
    length, a = boxes.step_mm, boxes.across_mm
    most_turn = length / radius
    turns = math.ceil(most_turn / wide) + 1
    far = math.ceil(length / a) + 3
    starts = np.zeros(boxes.headings + 1, dtype=np.int32)
    rows = np.empty((boxes.headings * (2 * turns + 1) * 40, 3), dtype=np.int32)
    count = 0
    for k in range(boxes.headings):
        angle = k * wide + (0.0 if ahead > 0 else math.pi)
        c, s = math.cos(angle), math.sin(angle)
        # the places within a box, and the box led to, seen along the heading; then the heading's
        # own uncertainty, which swings the step's end
        edge = a * (abs(c) + abs(s)) + length * wide / 2 + 1e-6
        for turn in range(-turns, turns + 1):
            low, high = max((turn - 1) * wide, -most_turn), min((turn + 1) * wide, most_turn)
            if low > high:
                continue
            left, right = _aside(length, radius, high), -_aside(length, radius, -low)
            near = radius * math.sin(most_turn)
            for i in range(-far, far + 1):
                for j in range(-far, far + 1):
                    u, v = a * (i * c + j * s), a * (j * c - i * s)
                    if near - edge <= u <= length + edge and right - edge <= v <= left + edge:
                        if count == len(rows):
                            longer = np.empty((2 * count, 3), dtype=np.int32)
                            longer[:count] = rows
                            rows = longer
                        rows[count] = (i, j, turn)
                        count += 1
        starts[k + 1] = count
    return starts, rows[:count].copy()


@njit(cache=True, nogil=True)
def _aside(length: float, radius: float, turn: float) -> float:
    """The farthest to the left a step can end whose heading turns left by ``turn`` in all: first
    as far left as it may, then back. Headings stand for their sines, the rest is allowed for."""
    first = min(max((length + turn * radius) / 2, 0.0), length)
    then = length - first
    sine_off = (length / radius) ** 3 / 6 * length
    return first**2 / (2 * radius) + first * then / radius - then**2 / (2 * radius) + sine_off


@njit(cache=True, nogil=True)
def _runs_out(
    ground: Ground,
    body: Body,
    boxes: Boxes,
    starts: Ints,
    rows: Ints,
    here: Floats,
    there: Floats,
    most_turn: float,
) -> bool:
    number, squares = squares_of(ground, boxes.across_mm)
    if squares * boxes.headings > MOST_MARKS:
        return False
    wide = 2 * math.pi / boxes.headings
    within = boxes.across_mm * math.sqrt(0.5)
    off = within + math.hypot(max(body.front, -body.rear), body.half_width) * wide / 2
    seen = np.zeros(squares * boxes.headings, dtype=np.uint8)
    waiting = np.empty((boxes.most + 1, 3), dtype=np.int32)
    count = 1
    waiting[0] = (
        int((here[0] - ground.west) / boxes.across_mm),
        int((here[1] - ground.south) / boxes.across_mm),
        round(here[2] / wide) % boxes.headings,
    )
    visited = 0
    while count > 0:
        visited += 1
        if visited > boxes.most:
            return False
        count -= 1
        i, j, k = waiting[count]
        x = ground.west + (i + 0.5) * boxes.across_mm
        y = ground.south + (j + 0.5) * boxes.across_mm
        gap = math.hypot(x - there[0], y - there[1])
        turn = abs((k * wide - there[2] + math.pi) % (2 * math.pi) - math.pi)
        if gap <= boxes.step_mm + 2 * within and turn <= most_turn + wide:
            # the way may end between two steps
            return False
        for n in range(starts[k], starts[k + 1]):
            ni, nj = i + rows[n, 0], j + rows[n, 1]
            nk = (k + rows[n, 2]) % boxes.headings
            if ni < 0 or nj < 0 or ni >= number.shape[0] or nj >= number.shape[1]:
                continue
            if number[ni, nj] < 0:
                continue
            box = number[ni, nj] * boxes.headings + nk
            if seen[box]:
                continue
            seen[box] = 1
            nx = ground.west + (ni + 0.5) * boxes.across_mm
            ny = ground.south + (nj + 0.5) * boxes.across_mm
            c, s = math.cos(nk * wide), math.sin(nk * wide)
            if fits(ground, body, nx, ny, c, s, (nx, ny, c, s), -off, 0.0):
                if count >= boxes.most:
                    return False
                waiting[count] = (ni, nj, nk)
                count += 1
    return True
