"""What no plan can cost less than."""

from __future__ import annotations

import math
import time
from functools import reduce

from bays.planner.answers import Bound
from bays.planner.openings import step_of
from bays.planner.problem import GRID_MINUTES, Problem
from bays.planner.relaxation.prices import Auction, Best

METHOD = (
    "every vehicle planned for itself, exactly, in a shop where people, equipment and floor "
    "are paid for by the five minutes; prices raised until the sum rises no more "
    "(Lagrangian relaxation of pool capacities, subgradient)"
)


def lower_bound(problem: Problem, seconds: float) -> Bound:
    """The highest bound found within the seconds; it is never below every vehicle alone.

    Left out of account, so that the bound may be low and never high: which person or unit of a
    pool it is, zones driven through, who drives, and that set-up may only be shared where
    nothing moves (it is taken to be shared wherever it could be).
    """
    begun = time.monotonic()
    auction = Auction(problem)
    best = auction.raise_bound(seconds - (time.monotonic() - begun))
    value = rounded_up(problem, best)
    return Bound(value, METHOD, best.alone, time.monotonic() - begun)


def rounded_up(problem: Problem, best: Best) -> float:
    """To the next cost that a plan can have."""
    if math.isinf(best.bound):
        return best.bound
    step = cost_step(problem)
    return float(math.ceil(best.bound / step) * step)


def cost_step(problem: Problem) -> int:
    """All plans' costs are multiples of this where everything lies on the grid, else 1."""
    costs = problem.costs
    times = [t for v in problem.vehicles for t in (v.release, v.due)]
    if step_of(problem) != GRID_MINUTES or any(minute % GRID_MINUTES for minute in times):
        return 1
    parts = [costs.move]
    if problem.previous:
        parts += [costs.changed_start, costs.changed_resource]
    for vehicle in problem.vehicles:
        parts += [costs.tardy * vehicle.weight * GRID_MINUTES]
        parts += [costs.flow * vehicle.flow_weight * GRID_MINUTES]
    return reduce(math.gcd, parts) or 1
