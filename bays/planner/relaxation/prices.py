"""Prices for shared time, raised where vehicles would meet and lowered where they would not.

Lagrangian relaxation: a plan pays for what it takes of each pool in each cell and is given back
the price of everything there is, so it never pays more than its cost. The sum of every vehicle's
cheapest own way at any prices, less the price of everything there is, is therefore a bound on
every plan. Prices follow a deflected subgradient towards a level that is lowered while the bound
does not rise (Held, Wolfe and Crowder 1974; Camerini, Fratta and Maffioli 1975; from memory).
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from bays.planner.problem import Problem
from bays.planner.relaxation.paths import NEVER, Builder, Ways
from bays.planner.relaxation.pools import pools_of
from bays.planner.relaxation.shortest import Floats, Prices, cheapest, packed, through

KEPT_DIRECTION = 0.7
PATIENCE = 30
LEAST_LEVEL = 2e-5
# Sums of a few hundred prices in double precision.
ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Best:
    """The prices with the highest bound so far; `bound` is infinite where no plan exists."""

    bound: float
    alone: float
    prices: Floats
    rounds: int
    settled: bool


class Auction:
    """All vehicles of a problem, each on its own, and the pools they have to share."""

    def __init__(self, problem: Problem) -> None:
        pools = pools_of(problem)
        self.problem = problem
        self.ways: Ways = Builder(problem, pools).build()
        self.names = pools.names
        self.capacity = np.array(pools.capacity, float)
        self.packed = packed(self.ways)
        self.of_work = _matrix(self.ways.signatures, len(pools.names))
        self.of_stand = _matrix([group.uses for group in self.ways.groups], len(pools.names))

    def value(self, prices: Floats) -> tuple[float, Floats, Floats]:
        """The bound, the use of every pool less its capacity, and each vehicle's own cost."""
        sums = self._sums(prices)
        used = Prices(np.zeros_like(sums.work), np.zeros_like(sums.stand))
        costs = np.zeros(len(self.packed.low))
        cheapest(self.packed, sums, used, costs)
        use = self.of_work.T @ np.cumsum(used.work, axis=1)[:, :-1]
        use += self.of_stand.T @ np.cumsum(used.stand, axis=1)[:, :-1]
        return float(costs.sum() - (prices * self.capacity).sum()), use - self.capacity, costs

    def _sums(self, prices: Floats) -> Prices:
        return Prices(_prefix(self.of_work @ prices), _prefix(self.of_stand @ prices))

    def raise_bound(self, seconds: float, most: float = np.inf, *, rounds: int = 100_000) -> Best:
        """The highest bound found in the seconds, or before it reaches `most`."""
        until = time.monotonic() + seconds
        prices = np.zeros_like(self.capacity)
        bound, excess, costs = self.value(prices)
        if costs.max(initial=0.0) >= NEVER:
            return Best(np.inf, np.inf, prices, 1, True)
        alone = bound - ROUNDING
        best, kept = bound, prices.copy()
        direction, level, since, done = np.zeros_like(prices), 0.05, 0, 1
        while done < rounds and best < most and level > LEAST_LEVEL and time.monotonic() < until:
            excess[(prices <= 0) & (excess < 0)] = 0
            direction = KEPT_DIRECTION * direction + excess
            direction[(prices <= 0) & (direction < 0)] = 0
            size = float((direction * direction).sum())
            if size == 0:
                level = 0.0
                break
            target = best + level * max(1.0, abs(best))
            prices = np.maximum(0, prices + (target - bound) / size * direction)
            bound, excess, _ = self.value(prices)
            done += 1
            if bound > best + ROUNDING:
                since = since if bound < best + level * abs(best) / 50 else 0
                best, kept = bound, prices.copy()
            since += 1
            if since > PATIENCE:
                level, since = level * 0.7, 0
                prices, direction = kept.copy(), np.zeros_like(prices)
                bound, excess, _ = self.value(prices)
        return Best(best - ROUNDING, alone, kept, done, level <= LEAST_LEVEL)

    def through(self, prices: Floats) -> tuple[Floats, list[Floats]]:
        """Every vehicle's own cost, and by state and start cell what it would be by that way."""
        _, _, costs = self.value(prices)
        sums = self._sums(prices)
        return costs, [through(self.packed, sums, vehicle) for vehicle in range(len(costs))]


def _matrix(rows: list[tuple[tuple[int, int], ...]], pools: int) -> Floats:
    out = np.zeros((len(rows), pools))
    for index, uses in enumerate(rows):
        for pool, much in uses:
            out[index, pool] = much
    return out


def _prefix(by_cell: Floats) -> Floats:
    out = np.zeros((by_cell.shape[0], by_cell.shape[1] + 1))
    np.cumsum(by_cell, axis=1, out=out[:, 1:])
    return out
