"""Runs of boxes that are surely blocked or taken, compiled: see :mod:`bays.floor.sieve`."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.floor.pieces import SOLID, Bools, Floats, Ints
from bays.floor.separation import Ring, Rings

# Rounding in coordinates of up to a few hundred metres stays far below this.
ROUNDING_MM = 1e-4
LEVEL = 1e-12


class Rows(NamedTuple):
    """Square boxes of positions: west and south edge, size, and how many."""

    west: float
    south: float
    step_mm: float
    columns: int
    rows: int


class Left(NamedTuple):
    """Boxes that may hold a pose clear of walls and obstacles: row, column, and zones taken."""

    row: Ints
    column: Ints
    taken: Bools


@njit(cache=True, nogil=True)
def add_runs(
    core: Ring,
    cos: float,
    sin: float,
    solid: Rings,
    owner: Ints,
    grid: Rows,
    steps: NDArray[np.int16],
) -> None:
    """Add, for each piece and grid row, the run of boxes whose poses all make the turned core
    overlap the piece, as steps up and down; a plane for each zone, the last for the solids."""
    corners = solid.corners.shape[1]
    count = corners + len(core.offsets)
    turned = np.empty((2, len(core.corners)))
    for i in range(len(core.corners)):
        x, y = core.corners[i]
        turned[0, i], turned[1, i] = cos * x - sin * y, sin * x + cos * y
    nx, ny, room = np.empty(count), np.empty(count), np.empty(count)
    for p in range(len(owner)):
        _sides(core, cos, sin, turned, solid, p, grid.step_mm / 2, (nx, ny, room))
        plane = owner[p] if owner[p] != SOLID else steps.shape[2] - 1
        for row in range(grid.rows):
            low, high = _run(nx, ny, room, grid.south + grid.step_mm * (row + 0.5))
            if low > high:
                continue
            first = math.ceil(max((low - grid.west) / grid.step_mm - 0.5, 0.0))
            last = math.floor(min((high - grid.west) / grid.step_mm - 0.5, grid.columns - 1.0))
            if last >= first:
                steps[row, first, plane] += 1
                steps[row, last + 1, plane] -= 1


@njit(cache=True, nogil=True)
def _sides(
    core: Ring,
    cos: float,
    sin: float,
    turned: Floats,
    solid: Rings,
    p: int,
    half_mm: float,
    sides: tuple[Floats, Floats, Floats],
) -> None:
    """Normals and offsets of the polygon of positions whose whole box makes core and piece
    overlap: the core on one side of every side of the piece, the piece on one of the core's."""
    nx, ny, room = sides
    corners, own = solid.corners.shape[1], len(core.offsets)
    for i in range(own):
        x = cos * core.normals[i, 0] - sin * core.normals[i, 1]
        y = sin * core.normals[i, 0] + cos * core.normals[i, 1]
        lowest = math.inf
        for j in range(corners):
            lowest = min(lowest, x * solid.corners[p, j, 0] + y * solid.corners[p, j, 1])
        nx[i], ny[i], room[i] = -x, -y, core.offsets[i] - lowest
    for j in range(corners):
        x, y = solid.normals[p, j, 0], solid.normals[p, j, 1]
        nearest = math.inf
        for i in range(turned.shape[1]):
            nearest = min(nearest, x * turned[0, i] + y * turned[1, i])
        at = x * solid.corners[p, j, 0] + y * solid.corners[p, j, 1]
        nx[own + j], ny[own + j], room[own + j] = x, y, at - nearest
    for k in range(len(room)):
        room[k] -= half_mm * (abs(nx[k]) + abs(ny[k])) + ROUNDING_MM


@njit(cache=True, nogil=True)
def _run(nx: Floats, ny: Floats, room: Floats, y: float) -> tuple[float, float]:
    """From where to where a line along x is inside all sides."""
    low, high = -math.inf, math.inf
    for k in range(len(nx)):
        left = room[k] - ny[k] * y
        if nx[k] > LEVEL:
            high = min(high, left / nx[k])
        elif nx[k] < -LEVEL:
            low = max(low, left / nx[k])
        elif left <= 0:
            return math.inf, -math.inf
        if low > high:
            return math.inf, -math.inf
    return low, high


@njit(cache=True, nogil=True)
def sum_up(steps: NDArray[np.int16], left: Left) -> int:
    """Add up the steps and write down the boxes left; how many."""
    rows, across, planes = steps.shape
    zones, found = planes - 1, 0
    under = np.zeros(planes, dtype=np.int16)
    for row in range(rows):
        under[:] = 0
        for column in range(across - 1):
            for plane in range(planes):
                under[plane] += steps[row, column, plane]
            if under[zones]:
                continue
            left.row[found], left.column[found] = row, column
            for zone in range(zones):
                left.taken[found, zone] = under[zone] != 0
            found += 1
    return found
