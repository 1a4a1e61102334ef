"""A first, coarse look at all poses: boxes of positions and headings that are surely blocked, and
the zones that every pose in a box surely takes.

The poses of a core (a shape inside the part at every heading of a box) that overlap a convex piece
fill a convex polygon, whose sides are known without drawing it; each grid row crosses it in one
run of boxes, and runs are added up by differences.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bays.floor.boxes import Boxes
from bays.floor.needed import Needed
from bays.floor.pieces import SOLID, Bools, Convex, Floats, Group, Ints, Pieces

FINEST_STEP_MM = 400.0
MOST_POSITIONS = 20_000
MOST_COUNTERS = 12_000_000
# Rounding in coordinates of up to a few hundred metres stays far below this.
ROUNDING_MM = 1e-4


@dataclass(frozen=True, eq=False)
class Grid:
    """Square boxes of positions over the floor's bounds."""

    west: float
    south: float
    step_mm: float
    columns: int
    rows: int

    @classmethod
    def over(cls, bounds: tuple[float, float, float, float]) -> Grid:
        west, south, east, north = bounds
        area = (east - west) * (north - south)
        step = max(FINEST_STEP_MM, math.sqrt(area / MOST_POSITIONS))
        columns, rows = math.ceil((east - west) / step), math.ceil((north - south) / step)
        return cls(west, south, step, max(columns, 1), max(rows, 1))

    @property
    def x(self) -> Floats:
        return self.west + self.step_mm * (np.arange(self.columns, dtype=np.float64) + 0.5)

    @property
    def y(self) -> Floats:
        return self.south + self.step_mm * (np.arange(self.rows, dtype=np.float64) + 0.5)


def sieve(
    floor: Pieces, asked: Needed, grid: Grid, headings: Floats, half_rad: float
) -> Iterator[Boxes]:
    """Boxes that may hold a pose clear of walls and obstacles; headings in radians, each the
    middle of a range of ``half_rad`` either way."""
    cores = asked.cores(half_rad)
    planes = len(floor.zones) + 1
    counters = planes * grid.rows * (grid.columns + 1)
    at_once = max(MOST_COUNTERS // counters, 1)
    for start in range(0, len(headings), at_once):
        some = headings[start : start + at_once]
        met = _met(floor, cores, grid, some)
        i, row, column = np.nonzero(~met[:, -1])
        taken = met[i, :-1, row, column]
        yield Boxes(grid.x[column], grid.y[row], some[i], taken)


def _met(floor: Pieces, cores: list[Floats], grid: Grid, headings: Floats) -> Bools:
    """(heading, zone, row, column): whether all poses of a box meet the zone; last, the solids."""
    shape = (len(headings), len(floor.zones) + 1, grid.rows, grid.columns + 1)
    steps = np.zeros(shape, dtype=np.int16)
    for core in cores:
        turned = _turned(core, headings)
        for group in floor.groups:
            _add_runs(steps, _sides(turned, group, grid.step_mm / 2), group.owner, grid)
    np.cumsum(steps, axis=-1, out=steps)
    return steps[..., :-1] != 0


def _turned(ring: Floats, headings: Floats) -> Floats:
    c, s = np.cos(headings)[:, None], np.sin(headings)[:, None]
    x, y = ring[:, 0], ring[:, 1]
    return np.stack([c * x - s * y, s * x + c * y], axis=-1)


def _sides(rings: Floats, group: Group, half_mm: float) -> tuple[Floats, Floats]:
    """Normals and offsets (heading, piece, side) of the positions whose whole box overlaps."""
    own = Convex.of(rings)
    solid = group.shape
    count, pieces = len(rings), len(solid.corners)
    # the part is on one side of every piece's side, every piece on one side of the part's
    lowest = np.einsum("aki,pci->akpc", own.normals, solid.corners).min(axis=3)
    mine = own.offsets[:, None, :] - lowest.transpose(0, 2, 1)
    nearest = np.einsum("pki,aci->apkc", solid.normals, own.corners).min(axis=3)
    theirs = solid.offsets[None] - nearest
    normals = np.concatenate(
        [
            np.broadcast_to(-own.normals[:, None], (count, pieces, *own.normals.shape[1:])),
            np.broadcast_to(solid.normals[None], (count, *solid.normals.shape)),
        ],
        axis=2,
    )
    offsets = np.concatenate([mine, theirs], axis=2)
    return normals, offsets - half_mm * np.abs(normals).sum(axis=3) - ROUNDING_MM


def _add_runs(
    steps: NDArray[np.int16], sides: tuple[Floats, Floats], owner: Ints, grid: Grid
) -> None:
    normals, offsets = sides
    count, pieces, corners = offsets.shape
    low = np.full((count, pieces, grid.rows), -np.inf)
    high = np.full((count, pieces, grid.rows), np.inf)
    y = grid.y
    for k in range(corners):
        nx, ny = normals[:, :, k, :1], normals[:, :, k, 1:]
        room = offsets[:, :, k, None] - ny * y
        level = np.abs(nx) < 1e-12
        bound = room / np.where(level, 1.0, nx)
        np.minimum(
            high,
            np.where(level, np.where(room > 0, np.inf, -np.inf), np.where(nx > 0, bound, np.inf)),
            out=high,
        )
        np.maximum(low, np.where(~level & (nx < 0), bound, -np.inf), out=low)
    first = np.ceil((low - grid.west) / grid.step_mm - 0.5)
    last = np.floor((high - grid.west) / grid.step_mm - 0.5)
    first = np.clip(first, 0, grid.columns).astype(np.int64)
    after = np.clip(last + 1, 0, grid.columns).astype(np.int64)
    i, p, row = np.nonzero(after > first)
    plane = np.where(owner == SOLID, steps.shape[1] - 1, owner)[p]
    np.add.at(steps, (i, plane, row, first[i, p, row]), 1)
    np.add.at(steps, (i, plane, row, after[i, p, row]), -1)
