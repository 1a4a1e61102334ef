"""Free time as rows of 64-bit words, compiled. Bit t of a resource is its cell t.

Every row ends in words that are never free, so that looking past the horizon finds nothing.
"""

from __future__ import annotations

import numpy as np
from numba import njit, uint64
from numpy.typing import NDArray

Words = NDArray[np.uint64]

ALL = uint64(0xFFFFFFFFFFFFFFFF)


@njit(cache=True, nogil=True)
def lowest_bit(word: np.uint64) -> int:
    """The number of the lowest bit set of a word that is not 0."""
    n = 0
    if word & uint64(0xFFFFFFFF) == uint64(0):
        n += 32
        word >>= uint64(32)
    if word & uint64(0xFFFF) == uint64(0):
        n += 16
        word >>= uint64(16)
    if word & uint64(0xFF) == uint64(0):
        n += 8
        word >>= uint64(8)
    if word & uint64(0xF) == uint64(0):
        n += 4
        word >>= uint64(4)
    if word & uint64(0x3) == uint64(0):
        n += 2
        word >>= uint64(2)
    if word & uint64(0x1) == uint64(0):
        n += 1
    return n


@njit(cache=True, nogil=True)
def short_runs(low: np.uint64, high: np.uint64, cells: int) -> np.uint64:
    """Bit t is set where bits t .. t+cells-1 of the two words are; at most 64 cells."""
    width = 1
    while width * 2 <= cells:
        step = uint64(width)
        low &= (low >> step) | (high << uint64(64 - width))
        high &= high >> step
        width *= 2
    rest = cells - width
    if rest > 0:
        low &= (low >> uint64(rest)) | (high << uint64(64 - rest))
    return low


@njit(cache=True, nogil=True)
def runs(free: Words, row: int, word: int, cells: int) -> np.uint64:
    """Bit t is set where `cells` cells from cell 64*word + t on are free."""
    if cells <= 64:
        return short_runs(free[row, word], free[row, word + 1], cells)
    found = ALL
    begun = 0
    while begun < cells:
        part = min(64, cells - begun)
        found &= runs_from(free, row, word * 64 + begun, part)
        begun += part
    return found


@njit(cache=True, nogil=True)
def runs_from(free: Words, row: int, cell: int, cells: int) -> np.uint64:
    """Bit t is set where `cells` (at most 64) cells from `cell` + t on are free."""
    word, bit = cell >> 6, cell & 63
    if word + 2 >= free.shape[1]:
        return uint64(0)
    if bit == 0:
        return short_runs(free[row, word], free[row, word + 1], cells)
    up, down = uint64(64 - bit), uint64(bit)
    low = (free[row, word] >> down) | (free[row, word + 1] << up)
    high = (free[row, word + 1] >> down) | (free[row, word + 2] << up)
    return short_runs(low, high, cells)


@njit(cache=True, nogil=True)
def is_free(free: Words, row: int, first: int, stop: int) -> bool:
    """Whether the cells first .. stop-1 are all free; none at all are."""
    if stop <= first:
        return True
    if first < 0 or stop > (free.shape[1] - 3) * 64:
        return False
    a, b = first >> 6, (stop - 1) >> 6
    for word in range(a, b + 1):
        wanted = ALL
        if word == a:
            wanted &= ALL << uint64(first & 63)
        if word == b:
            wanted &= ALL >> uint64(63 - ((stop - 1) & 63))
        if free[row, word] & wanted != wanted:
            return False
    return True


@njit(cache=True, nogil=True)
def set_free(free: Words, row: int, first: int, stop: int, give: bool) -> None:
    """Give or take the cells first .. stop-1."""
    first = max(first, 0)
    stop = min(stop, (free.shape[1] - 3) * 64)
    if stop <= first:
        return
    a, b = first >> 6, (stop - 1) >> 6
    for word in range(a, b + 1):
        changed = ALL
        if word == a:
            changed &= ALL << uint64(first & 63)
        if word == b:
            changed &= ALL >> uint64(63 - ((stop - 1) & 63))
        if give:
            free[row, word] |= changed
        else:
            free[row, word] &= ~changed


@njit(cache=True, nogil=True)
def first_taken(free: Words, row: int, cell: int) -> int:
    """The first cell from `cell` on that is not free."""
    word = cell >> 6
    if word >= free.shape[1] - 1:
        return cell
    taken = ~free[row, word] & (ALL << uint64(cell & 63))
    while taken == uint64(0):
        word += 1
        taken = ~free[row, word]
    return word * 64 + lowest_bit(taken)
