"""How long a quote takes beside forty visits. Run by hand: ``pytest -s -m benchmark``."""

from __future__ import annotations

from time import process_time

import pytest

from bays.planner import Plan, Quote, dispatch, quote
from tests.bays.planner.shop import at, vehicle
from tests.bays.planner.test_dispatch import crowded

pytestmark = pytest.mark.benchmark

BAR_SECONDS = 0.150


def test_quote_beside_forty_visits_with_others_giving_way() -> None:
    problem = crowded(40)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    taken = []
    for number in range(40):
        work, release = problem.vehicles[number].operations, at(8 + number % 9)
        new = vehicle("new", *work, release=release, due=at(18))
        begun = process_time()
        answer = quote(problem, plan, new, wished=at(13), freeze_minutes=30)
        taken.append(process_time() - begun)
        assert isinstance(answer, Quote)
    taken.sort()
    print(
        f"\nquote beside 40: median {taken[20] * 1000:.0f} ms, p95 {taken[37] * 1000:.0f} ms (CPU)"
    )
    assert taken[37] <= BAR_SECONDS
