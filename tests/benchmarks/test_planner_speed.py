"""How long planning takes. Run by hand: ``pytest -s -m benchmark tests/benchmarks``.

Prints figures and never fails on a clock: machines differ, and so do their loads.
"""

from __future__ import annotations

from statistics import quantiles
from time import perf_counter

import pytest

from bays.planner import Plan, Quote, dispatch, quote
from tests.bays.planner.test_dispatch import crowded
from tests.bays.planner.test_quote import at, vehicle

pytestmark = pytest.mark.benchmark


@pytest.mark.parametrize("visits", [10, 40, 150])
def test_time_to_plan_from_nothing(visits: int) -> None:
    problem = crowded(visits)
    begun = perf_counter()
    answer = dispatch(problem)
    print(f"\ndispatch, {visits} visits: {1000 * (perf_counter() - begun):.0f} ms")
    assert isinstance(answer, Plan)


def test_time_to_quote_beside_forty_visits() -> None:
    problem = crowded(40)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    taken = []
    for hour in [h for h in range(8, 18) for _ in range(5)]:
        new = vehicle("new", *problem.vehicles[0].operations, release=at(hour), due=at(18))
        begun = perf_counter()
        answer = quote(problem, plan, new)
        taken.append(1000 * (perf_counter() - begun))
        assert isinstance(answer, Quote)
    cuts = quantiles(taken, n=20)
    print(
        f"\nquote beside 40 visits: p50 {cuts[9]:.0f} ms, p95 {cuts[18]:.0f} ms, {len(taken)} runs"
    )
