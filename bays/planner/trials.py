"""Planning one question several times with equal means, so that chance can be told from gain.

Two plans of one question differ by chance: the engine stops by the clock and its draws hang on
the seed. Whoever compares two questions therefore plans each once for every seed, with the same
seconds, and believes only a difference larger than the runs differ among themselves.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from bays.planner.answers import Plan
from bays.planner.costs import plan_of
from bays.planner.dispatch import calendar_with, dispatch, promise_order
from bays.planner.faults import model_error
from bays.planner.holding import rows_by_vehicle
from bays.planner.improve import improve
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import Problem, Row
from bays.planner.verify import verify

# Hears how many of how many questions are planned; whatever it raises ends the work.
Tell = Callable[[int, int], None]


def untold(done: int, of: int) -> None:
    """Nobody listens."""


@dataclass(frozen=True, slots=True)
class Budget:
    """Seconds of improvement for each run, and the seeds: one run each."""

    seconds: float = 0.4
    seeds: tuple[int, ...] = (1, 2, 3)


@dataclass(frozen=True, slots=True)
class Spread:
    """The lowest, the middle and the highest of some runs."""

    low: float
    middle: float
    high: float

    @classmethod
    def of(cls, values: Iterable[float]) -> Spread:
        """Of an even number of runs the lower of the two in the middle.

        Raises:
            ValueError: no values.
        """
        ordered = sorted(values)
        if not ordered:
            raise ValueError("no runs to take the spread of")
        return cls(ordered[0], ordered[(len(ordered) - 1) // 2], ordered[-1])

    def surely_below(self, other: Spread) -> bool:
        """Whether every run here is lower than every run there."""
        return self.high < other.low


def frozen(problem: Problem, plan: Plan, minutes: int) -> Problem:
    """The same question with what starts within the next minutes fixed where the plan has it."""
    fixed = problem.pin_by_key
    soon = tuple(
        row for row in plan.rows if row.start < problem.now + minutes and row.key not in fixed
    )
    tighter = replace(problem, pins=(*problem.pins, *soon))
    return problem if model_error(tighter) is not None else tighter


def planned(
    problem: Problem, plan: Plan | None, budget: Budget, first: Sequence[str] = ()
) -> tuple[Plan, ...]:
    """A verified plan for each seed; empty where no plan was found to begin with.

    Each run begins with the cheapest of: the plan given, where it holds here; promise order; and
    the plan given with the vehicles in `first`, and those late, taken out and put back first.
    """
    begin = min(_beginnings(problem, plan, first), key=lambda one: one.cost, default=None)
    if begin is None:
        return ()
    return tuple(improved(problem, begin, budget.seconds, seed) for seed in budget.seeds)


def improved(problem: Problem, plan: Plan, seconds: float, seed: int) -> Plan:
    """The plan improved; the one given where the improved one breaks a rule."""
    better = improve(problem, plan, seconds, seed, workers=1)
    return better if better.cost <= plan.cost and not verify(problem, better) else plan


def _beginnings(problem: Problem, plan: Plan | None, first: Sequence[str]) -> Iterator[Plan]:
    found: list[Plan | None] = []
    if plan is not None:
        known = problem.vehicle_by_id
        rows = [row for row in plan.rows if row.vehicle in known]
        here = plan_of(problem, rows)
        late = sorted(here.late.keys() - set(first), key=lambda name: promise_order(known[name]))
        found = [here, put_back(problem, rows, first), put_back(problem, rows, (*first, *late))]
    anew = dispatch(problem)
    found.append(anew if isinstance(anew, Plan) else None)
    for one in found:
        if one is not None and not verify(problem, one):
            yield one


def put_back(problem: Problem, rows: Iterable[Row], order: Sequence[str]) -> Plan | None:
    """The rows with these vehicles taken out and put back in this order; None where one is stuck.

    Rows that are pinned stay.
    """
    fixed = problem.pin_by_key
    out = frozenset(order)
    kept = [row for row in rows if row.vehicle not in out or row.key in fixed]
    grouped = rows_by_vehicle(kept)
    calendar = calendar_with(problem, kept)
    for name in order:
        pins = {row.operation: row for row in grouped.get(name, [])}
        own = insert(calendar, problem.vehicle_by_id[name], fixed=pins)
        if isinstance(own, Stuck):
            return None
        calendar.occupy(own)
        grouped[name] = list(own)
    return plan_of(problem, [row for own in grouped.values() for row in own])
