"""Make a plan cheaper by taking vehicles out and putting them back, compiled."""

from __future__ import annotations

import time
from collections.abc import Callable

import structlog

from bays.planner.answers import Plan
from bays.planner.costs import plan_of
from bays.planner.engine.rounds import Budget
from bays.planner.engine.search import better_rows, first_plan, rows_as_table, table_as_rows
from bays.planner.engine.tables import NotCompiled, compile_problem
from bays.planner.engine.warm import ready
from bays.planner.problem import Problem
from bays.planner.verify import verify

log = structlog.get_logger("bays.planner")


def improve(
    problem: Problem,
    plan: Plan,
    seconds: float = 2.0,
    seed: int = 0,
    *,
    workers: int = 2,
    turns: int | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> Plan:
    """A plan no dearer than the one given, found within the seconds.

    Pins stay; changes against `problem.previous` are paid for. With `turns` instead of seconds
    the same seed gives the same plan on every machine. What comes out has passed `verify`; a
    plan that does not hold every operation is given back as it is, and so is any plan while a
    server is still compiling.
    """
    if {row.key for row in plan.rows} != problem.operation_by_key.keys() or not ready():
        return plan
    try:
        compiled = compile_problem(problem)
    except NotCompiled as limit:
        log.info("plan_not_improved", why=str(limit))
        return plan
    budget = Budget(seconds, turns, clock)
    rows = better_rows(compiled, rows_as_table(compiled, plan.rows), budget, seed, workers)
    better = plan_of(problem, table_as_rows(compiled, rows))
    if better.cost >= plan.cost:
        return plan
    return _verified(problem, better) or plan


def quick_plan(problem: Problem) -> Plan | None:
    """A first plan in milliseconds, verified; None when this way found no room for somebody."""
    if not ready():
        return None
    try:
        compiled = compile_problem(problem)
    except NotCompiled:
        return None
    rows = first_plan(compiled)
    return (
        None
        if rows is None
        else _verified(problem, plan_of(problem, table_as_rows(compiled, rows)))
    )


def _verified(problem: Problem, plan: Plan) -> Plan | None:
    broken = verify(problem, plan)
    if broken:
        log.error(
            "engine_plan_refused", rules=sorted({v.rule for v in broken}), says=broken[0].says
        )
        return None
    return plan
