"""How long a re-plan takes and how much it changes. Run by hand: ``pytest -s -m benchmark``.

Prints figures; the plans themselves are verified.
"""

from __future__ import annotations

from time import process_time

import pytest

from bays.planner import (
    Disruption,
    Plan,
    Replan,
    TechnicianOut,
    UnitOut,
    Urgent,
    Window,
    dispatch,
    first_repair,
    parts,
    replan,
    verify,
)
from tests.bays.planner.shop import at, vehicle
from tests.bays.planner.test_dispatch import crowded

pytestmark = pytest.mark.benchmark

NOW = at(10, 30)


def events(visits: int) -> dict[str, Disruption]:
    problem = crowded(visits)
    today = Window(NOW, at(24))
    some = problem.vehicles[0].operations
    return {
        "sick": TechnicianOut(problem.technicians[0].id, today),
        "broken": UnitOut(problem.units[0].id, today),
        "urgent": Urgent(vehicle("new", *some, release=NOW, due=NOW + 180, weight=8)),
    }


@pytest.mark.parametrize("visits", [12, 40, 150])
@pytest.mark.parametrize("kind", ["sick", "broken", "urgent"])
def test_time_to_repair_and_what_it_changes(visits: int, kind: str) -> None:
    problem = crowded(visits)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    event = events(visits)[kind]
    begun = process_time()
    first = first_repair(problem, plan, NOW, event, freeze_minutes=0)
    first_ms = 1000 * (process_time() - begun)
    begun = process_time()
    answer = replan(problem, plan, NOW, event, freeze_minutes=0)
    seconds = process_time() - begun
    assert isinstance(first, Replan)
    assert isinstance(answer, Replan)
    assert verify(first.problem, first.plan) == verify(answer.problem, answer.plan) == []
    starts = sum(
        1 for c in answer.changes if c.before and c.after and c.before.start != c.after.start
    )
    begun = process_time()
    apart = parts(answer, plan)
    print(
        f"\n{kind}, {visits} visits: first {first_ms:.1f} ms, better {seconds:.2f} s (CPU), "
        f"cost {plan.cost} -> {first.plan.cost} -> {answer.plan.cost}, {starts} starts changed, "
        f"{len(apart.parts)} parts in {1000 * (process_time() - begun):.0f} ms"
    )
