"""Read single numbers of a compiled question: one flat array, see `tables`."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.planner.engine import columns as at

Facts = NDArray[np.int64]
Rows = NDArray[np.int64]
Numbers = NDArray[np.int64]


@njit(cache=True, nogil=True)
def of_operation(t: Facts, number: int, column: int) -> int:
    return t[t[at.F_OPERATIONS] + number * at.OP_WIDTH + column]


@njit(cache=True, nogil=True)
def of_vehicle(t: Facts, number: int, column: int) -> int:
    return t[t[at.F_VEHICLES] + number * at.V_WIDTH + column]


@njit(cache=True, nogil=True)
def of_place(t: Facts, number: int, column: int) -> int:
    return t[t[at.F_PLACES] + number * at.P_WIDTH + column]


@njit(cache=True, nogil=True)
def travel(t: Facts, start: int, end: int) -> int:
    """Minutes of a move from place to place."""
    return t[t[at.F_TRAVEL] + start * t[at.F_PLACE_COUNT] + end]


@njit(cache=True, nogil=True)
def cells_of(minutes: int) -> int:
    """Cells that so many minutes take, rounded up."""
    return -(-minutes // at.CELL_MINUTES)
