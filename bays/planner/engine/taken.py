"""Which rows of a plan share a cell with others, so that the engine must leave them alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bays.planner.engine.facts import Rows
from bays.planner.engine.holding_cells import hold_rows, keep_own
from bays.planner.engine.tables import Compiled


def crowded(compiled: Compiled, table: Rows) -> NDArray[np.bool_]:
    """By vehicle: whether its rows take a cell that is not free, or somebody else's as well.

    The grid is coarser than the minutes of rows off it: two rows that follow each other within
    a cell both touch it. Giving one of them back would free the other's cell.
    """
    count = len(compiled.problem.vehicles)
    taken = [_taken_by(compiled, table, vehicle) for vehicle in range(count)]
    once = np.zeros_like(compiled.free)
    twice = np.zeros_like(compiled.free)
    for cells in taken:
        twice |= once & cells
        once |= cells
    # Own blocks are not free in the base and may well be taken by their vehicle.
    lent = [_own(compiled, vehicle) for vehicle in range(count)]
    found = [
        bool((cells & twice).any() or (cells & ~compiled.free & ~own).any())
        for cells, own in zip(taken, lent, strict=True)
    ]
    return np.array(found, dtype=np.bool_)


def _taken_by(compiled: Compiled, table: Rows, vehicle: int) -> NDArray[np.uint64]:
    whole = np.full_like(compiled.free, 0xFFFFFFFFFFFFFFFF)
    hold_rows(compiled.facts, whole, table, vehicle, False)
    return ~whole


def _own(compiled: Compiled, vehicle: int) -> NDArray[np.uint64]:
    none = np.zeros_like(compiled.free)
    keep_own(compiled.facts, none, vehicle, True)
    return none
