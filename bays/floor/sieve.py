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

from bays.floor.boxes import Boxes
from bays.floor.needed import Needed
from bays.floor.pieces import Convex, Floats, Pieces
from bays.floor.runs import Left, Rows, add_runs, sum_up
from bays.floor.separation import ring_of, rings_of

FINEST_STEP_MM = 400.0
MOST_POSITIONS = 20_000


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
    cores = [ring_of(Convex.of(core[None])) for core in asked.cores(half_rad)]
    planes, cells = len(floor.zones) + 1, grid.rows * grid.columns
    rows = Rows(grid.west, grid.south, grid.step_mm, grid.columns, grid.rows)
    steps = np.empty((grid.rows, grid.columns + 1, planes), dtype=np.int16)
    left = Left(
        np.empty(cells, dtype=np.int64),
        np.empty(cells, dtype=np.int64),
        np.empty((cells, planes - 1), dtype=bool),
    )
    for heading in headings:
        steps[:] = 0
        cos, sin = math.cos(heading), math.sin(heading)
        for core in cores:
            for group in floor.groups:
                add_runs(core, cos, sin, rings_of(group.shape), group.owner, rows, steps)
        found = sum_up(steps, left)
        x, y = grid.x[left.column[:found]], grid.y[left.row[:found]]
        yield Boxes(x, y, np.full(found, heading), left.taken[:found].copy())
