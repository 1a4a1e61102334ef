"""Works a question out and writes its answer as plain JSON, in the shop's own words and times."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from bays.planner.helping import Helped, Lateness, what_helps
from bays.planner.other_shop import NoSuchThing
from bays.planner.problem import Problem
from bays.planner.trials import Budget, Spread
from bays.planner.what_if import Result, compare
from jobs.models import Study
from jobs.planning.demand import PastDemand, past_demand
from jobs.planning.other_shops import wanted
from jobs.planning.problem import load_shop_plan, vehicle_id
from shopcal.errors import NotFound

# A dozen remedies, three runs of each: about fifteen seconds of one processor.
HELP_BUDGET = Budget(seconds=0.4, seeds=(1, 2, 3))
# Three shops, five weeks, three runs: about half a minute.
WHAT_IF_BUDGET = Budget(seconds=0.7, seeds=(1, 2, 3))

Tell = Callable[[int, int], None]
Answer = tuple[str, dict[str, Any]]


def answer_help(study: Study, now: datetime, tell: Tell) -> Answer:
    """What would help the visit, against the plan in force now.

    Raises:
        NotFound: the visit is no longer in the plan.
    """
    if study.visit is None:
        raise NotFound("no_visit", "The question names no visit.")
    shop = study.shop
    shop_plan = load_shop_plan(shop, now)
    vehicle = vehicle_id(study.visit)
    if vehicle not in {row.vehicle for row in shop_plan.plan.rows}:
        raise NotFound("not_planned", f"RO {study.visit.ro_number} is no longer in the plan.")
    found = what_helps(
        shop_plan.problem,
        shop_plan.plan,
        vehicle,
        HELP_BUDGET,
        freeze_minutes=shop.booking_freeze_minutes,
        tell=tell,
    )
    problem = shop_plan.problem
    return found.says, {
        "in_force": _lateness(problem, found.in_force),
        "again": _lateness(problem, found.again),
        "noise_minutes": found.noise_minutes,
        "runs": found.runs,
        "helps": [_helped(problem, one) for one in found.helps],
        "helps_not": list(found.helps_not),
    }


def _lateness(problem: Problem, one: Lateness) -> dict[str, Any]:
    return {
        "done_at": problem.moment(one.done).isoformat(),
        "minutes_late": one.late,
        "others_late": one.others_late,
        "minutes_late_in_all": one.all_minutes,
    }


def _helped(problem: Problem, one: Helped) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "what": one.what,
        "says": one.says,
        "after": _lateness(problem, one.after),
        "minutes_sooner": one.minutes_sooner,
        "fewer_others_late": one.fewer_others_late,
        "fewer_minutes_late": one.fewer_minutes,
    }


def answer_what_if(study: Study, now: datetime, tell: Tell) -> Answer:
    """Last month's demand in the shop as it is and in the ones asked for.

    Raises:
        NotFound: no floor plan, no visits, or what was to be changed is gone.
        Invalid: what was to be changed is gone.
    """
    demand = past_demand(study.shop, now)
    if not demand.month.problem.vehicles:
        raise NotFound(
            "no_demand", "No vehicle came in the last four weeks, so nothing can be told."
        )
    asked = wanted(study.shop_id, study.question)
    try:
        found = compare(demand.month, asked.changes, WHAT_IF_BUDGET, tell=tell)
    except NoSuchThing as gone:
        says = f"No visit of that month could have used it, or it is gone: {gone}."
        raise NotFound("no_such_thing", says) from gone
    return found.says, {
        **_period(demand),
        "runs": len(WHAT_IF_BUDGET.seeds),
        "visits": len(demand.month.problem.vehicles),
        "shops": [_result(result) for result in found.results],
    }


def _period(demand: PastDemand) -> dict[str, Any]:
    return {"first_on": demand.first_on.isoformat(), "last_on": demand.last_on.isoformat()}


def _result(result: Result) -> dict[str, Any]:
    return {
        "name": result.name,
        "kept": _spread(result.kept),
        "visits": result.visits,
        "late_minutes": _spread(result.late_minutes),
        "not_planned": _spread(result.not_planned),
        "done_a_day": _spread(result.done_a_day),
        "hours_here": _spread(result.hours_here),
        "use": {key: _spread(value) for key, value in result.use.items()},
    }


def _spread(spread: Spread) -> list[float]:
    """Lowest, middle and highest of the runs, unrounded."""
    return [spread.low, spread.middle, spread.high]
