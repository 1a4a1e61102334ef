"""A stream of chance numbers that is the same on every machine (xorshift64*, Vigna 2016)."""

from __future__ import annotations

import numpy as np
from numba import njit, uint64

from bays.planner.engine.bits import Words


def stream(seed: int, worker: int) -> Words:
    """A fresh stream; different workers of one seed draw different numbers."""
    numbers = np.random.SeedSequence([seed & 0xFFFFFFFF, worker]).generate_state(1, np.uint64)
    return numbers.astype(np.uint64) | np.uint64(1)


@njit(cache=True, nogil=True)
def draw(state: Words) -> np.uint64:
    x = state[0]
    x ^= x >> uint64(12)
    x ^= x << uint64(25)
    x ^= x >> uint64(27)
    state[0] = x
    return (x * uint64(0x2545F4914F6CDD1D)) >> uint64(11)


@njit(cache=True, nogil=True)
def below(state: Words, limit: int) -> int:
    """A whole number from 0 to limit-1."""
    return int(np.int64(draw(state) % uint64(limit)))


@njit(cache=True, nogil=True)
def share(state: Words) -> float:
    """A number from 0 up to 1."""
    return float(draw(state)) * (1.0 / 9007199254740992.0)
