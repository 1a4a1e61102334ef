"""Two workers on one plan: one has the time before a moment, the other the time after it.

The moment falls between two words of the masks, so the workers never touch the same word; it
is another one every round, and what lies across it stays for that round.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from bays.planner.engine import columns as at
from bays.planner.engine.chance import stream
from bays.planner.engine.facts import Facts, Numbers, Rows, of_vehicle
from bays.planner.engine.holding_cells import hold_rows
from bays.planner.engine.rounds import Budget, run_round
from bays.planner.engine.ruin import Mood, State
from bays.planner.engine.slots import desk_for
from bays.planner.engine.tables import Compiled

ROUNDS = 60
WORD_CELLS = 64
# In the last rounds each half goes back to the best it had.
HOLD_BEST_FROM = 0.85
# Room for a vehicle to drive out in after its last operation, in cells.
DRIVING_OUT = 12


def search_halves(compiled: Compiled, state: State, mood: Mood, budget: Budget, seed: int) -> Rows:
    """The rows of the cheapest plan at the end of any round."""
    generator = np.random.default_rng(seed)
    width = compiled.free.shape[1]
    desks = [desk_for(width, stream(seed, number)) for number in range(2)]
    best, best_rows = int(state.cost.sum()), state.rows.copy()
    with ThreadPoolExecutor(2) as pool:
        for number in range(ROUNDS):
            begun, done = number / ROUNDS, (number + 1) / ROUNDS
            moment = _moment(state, generator)
            halves = [_before(compiled, state, moment), _after(compiled, state, moment)]
            jobs = [
                pool.submit(run_round, facts, half, desk, mood, budget, begun, done)
                for (facts, half), desk in zip(halves, desks, strict=True)
                if half.loose.size
            ]
            for job in jobs:
                job.result()
            if done > HOLD_BEST_FROM:
                for facts, half in halves:
                    _back_to_best(facts, half)
            cost = int(state.cost.sum())
            if cost < best:
                best, best_rows = cost, state.rows.copy()
    return best_rows


def _moment(state: State, generator: np.random.Generator) -> int:
    """A cell that is a whole number of words, somewhere in the middle of the work."""
    rows = state.rows
    first, last = np.quantile(rows[:, at.R_CELL], [0.15, 0.85]) // WORD_CELLS
    return int(generator.integers(int(first) + 1, max(int(last), int(first) + 1) + 1)) * WORD_CELLS


def _before(compiled: Compiled, state: State, moment: int) -> tuple[Facts, State]:
    facts = compiled.facts.copy()
    facts[at.F_CELLS] = moment - (DRIVING_OUT if facts[at.F_CROSSED] else 0)
    return facts, _half(compiled, state, 0, int(facts[at.F_CELLS]))


def _after(compiled: Compiled, state: State, moment: int) -> tuple[Facts, State]:
    facts = compiled.facts.copy()
    facts[at.F_NOW] = max(facts[at.F_NOW], moment * at.CELL_MINUTES)
    return facts, _half(compiled, state, moment + DRIVING_OUT, int(facts[at.F_CELLS]))


def _half(compiled: Compiled, state: State, first: int, stop: int) -> State:
    """The same plan, where only vehicles wholly within the cells may move."""
    table = compiled.facts[compiled.facts[at.F_VEHICLES] :][: len(state.cost) * at.V_WIDTH].reshape(
        -1, at.V_WIDTH
    )
    inside = [
        v
        for v in state.loose
        if state.rows[table[v, at.V_FIRST], at.R_CELL] >= first
        and state.rows[table[v, at.V_STOP] - 1, at.R_STOP] <= stop
    ]
    loose: Numbers = np.array(inside, dtype=np.int64)
    rank = np.full(len(state.cost), -1, dtype=np.int64)
    rank[loose] = np.arange(len(loose))
    total = int(state.cost[loose].sum())
    return state._replace(
        best_rows=state.rows.copy(),
        best_cost=state.cost.copy(),
        loose=loose,
        rank=rank,
        total=np.array([total, total, 0], dtype=np.int64),
    )


def _back_to_best(facts: Facts, half: State) -> None:
    """Put the half's vehicles where they were when it was cheapest."""
    if half.loose.size == 0 or half.total[0] == half.total[1]:
        return
    for v in half.loose:
        hold_rows(facts, half.free, half.rows, v, True)
    for v in half.loose:
        first, stop = (int(of_vehicle(facts, v, column)) for column in (at.V_FIRST, at.V_STOP))
        half.rows[first:stop] = half.best_rows[first:stop]
        half.cost[v] = half.best_cost[v]
        hold_rows(facts, half.free, half.rows, v, False)
