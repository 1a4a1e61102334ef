"""Ask CP-SAT, with the same settings every time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from ortools.sat.python import cp_model

from bays.planner.model.builder import Builder
from bays.planner.model.reading import rows_of
from bays.planner.problem import Row

Verdict = Literal["optimal", "found", "none exists", "nothing"]
VERDICTS: dict[cp_model.CpSolverStatus, Verdict] = {
    cp_model.OPTIMAL: "optimal",
    cp_model.FEASIBLE: "found",
    cp_model.INFEASIBLE: "none exists",
}


@dataclass(frozen=True, slots=True)
class Solved:
    """What came out: rows where any were found, and a bound on the objective."""

    verdict: Verdict
    rows: tuple[Row, ...]
    value: int | None
    bound: float


class _Enough(cp_model.CpSolverSolutionCallback):
    """Stops at the first plan that costs no more than `enough`."""

    def __init__(self, enough: float) -> None:
        super().__init__()
        self.enough = enough

    def on_solution_callback(self) -> None:
        if self.objective_value <= self.enough:
            self.stop_search()


def solve(
    build: Builder,
    seconds: float,
    seed: int,
    workers: int,
    *,
    enough: float = -math.inf,
    repeatable: bool = False,
) -> Solved:
    """Run the search, until a plan costs `enough` or less if need be.

    `repeatable` makes all workers take turns in a fixed order and counts work instead of seconds,
    so that the same question with the same seed has the same answer on any machine.
    """
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    solver.parameters.max_time_in_seconds = max(0.01, seconds)
    if repeatable:
        solver.parameters.interleave_search = True
        solver.parameters.max_deterministic_time = max(0.01, seconds)
        solver.parameters.max_time_in_seconds = 60 * max(1.0, seconds)
    verdict = VERDICTS.get(solver.solve(build.model, _Enough(enough)), "nothing")
    if verdict in ("none exists", "nothing"):
        return Solved(verdict, (), None, solver.best_objective_bound)
    rows = tuple(rows_of(build, lambda literal: int(solver.value(literal))))
    return Solved(verdict, rows, round(solver.objective_value), solver.best_objective_bound)
