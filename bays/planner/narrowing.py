"""Where each operation can start in any plan cheap enough to be worth looking for."""

from __future__ import annotations

import numpy as np

from bays.planner.openings import Mask
from bays.planner.problem import OperationKey
from bays.planner.relaxation.prices import Auction, Best

Allowed = dict[tuple[OperationKey, str], Mask]
SLACK = 1e-3


def worth_trying(auction: Auction, best: Best, most: float) -> Allowed:
    """Start cells by operation and placement that some plan costing at most `most` may have.

    At the prices of the bound, what a vehicle pays more than it must on its own way through a
    start is paid on top of the bound by every plan with that start (reduced-cost fixing).
    """
    ways, problem, cells = auction.ways, auction.problem, auction.capacity.shape[1]
    costs, through = auction.through(best.prices)
    allowed: Allowed = {}
    for index, vehicle in enumerate(problem.vehicles):
        dearest = costs[index] + most - best.bound + SLACK
        if ways.otherwise[index] <= dearest:
            continue  # it may well be done later than its ways were followed
        low, high = ways.window[index]
        first = ways.first_operation[index]
        for number, operation in enumerate(vehicle.operations):
            begin, end = ways.first_state[first + number], ways.first_state[first + number + 1]
            row = ways.first_state[first]
            for state in range(begin, end):
                mask = np.zeros(cells, np.bool_)
                mask[low:high] = through[index][state - row] <= dearest
                for name in ways.groups[ways.state_group[state]].placements:
                    allowed[(vehicle.id, operation.id), name] = mask
    return allowed
