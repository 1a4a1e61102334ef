"""A bound is below every plan, and not below what vehicles cost alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings

from bays.planner import Blocked, Plan, Problem, Window, dispatch
from bays.planner.bound import lower_bound
from bays.planner.openings import common, joined, without
from bays.planner.relaxation.prices import Auction
from tests.bays.planner.shop import (
    at,
    camera,
    drive,
    scan,
    shop,
    shops,
    surround,
    vehicle,
)

SECONDS = 0.2


@settings(max_examples=25, deadline=None)
@given(shops(most=5))
def test_no_plan_costs_less_than_the_bound(problem: Problem) -> None:
    plan = dispatch(problem)
    if isinstance(plan, Plan):
        assert lower_bound(problem, SECONDS).value <= plan.cost


@settings(max_examples=15, deadline=None)
@given(shops(most=4))
def test_the_bound_holds_while_part_of_a_plan_is_fixed_and_the_rest_is_planned_again(
    problem: Problem,
) -> None:
    plan = dispatch(problem)
    if not isinstance(plan, Plan):
        return
    now = sorted(row.start for row in plan.rows)[len(plan.rows) // 2]
    pins = tuple(row for row in plan.rows if row.start < now)
    again = replace(problem, now=max(now, problem.now), pins=pins, previous=plan.rows)
    assert lower_bound(again, SECONDS).value <= plan.cost


def test_a_vehicle_by_itself_is_bounded_by_exactly_what_it_costs() -> None:
    problem = shop(vehicle("a", scan(), camera(), surround(), drive(), due=at(10)))
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    assert lower_bound(problem, SECONDS).value == plan.cost


def test_two_vehicles_that_need_the_only_mat_set_cost_what_one_has_to_wait() -> None:
    two = [vehicle(name, surround(), due=at(9, 15)) for name in ("a", "b")]
    bound = lower_bound(shop(*two), 20.0)
    late, longer, own = 60 - 5, 60, 2 * (70 + 10)
    assert bound.alone == pytest.approx(own, abs=0.01)
    assert bound.value == own + longer + 20 * late


def test_the_bound_does_not_change_when_vehicles_are_listed_in_another_order() -> None:
    cars = [vehicle(n, scan(), camera(), surround(), due=at(10)) for n in ("a", "b", "c")]
    ahead, behind = lower_bound(shop(*cars), 20.0), lower_bound(shop(*reversed(cars)), 20.0)
    assert ahead.value == pytest.approx(behind.value, rel=0.01)


def test_a_vehicle_that_cannot_be_done_has_no_plan_at_any_cost() -> None:
    nobody = shop(vehicle("a", scan(skill="welding")))
    assert math.isinf(lower_bound(nobody, SECONDS).value)


def test_a_closed_place_is_not_counted_on() -> None:
    car = vehicle("a", camera(placements=("bay-1",)), due=at(9))
    closed = Blocked("z1", Window(0, at(10)), "painting")
    free, shut = lower_bound(shop(car), SECONDS), lower_bound(shop(car, blocked=(closed,)), SECONDS)
    assert shut.value == free.value + (at(10) - at(8, 10)) + 20 * (at(10, 40) - at(9))


def test_a_place_kept_for_a_vehicle_is_no_hindrance_to_that_one() -> None:
    car = vehicle("a", camera(placements=("bay-1",)), due=at(9))
    kept = replace(Blocked("z1", Window(0, at(10)), "it stands there"), vehicle="a")
    assert lower_bound(shop(car, blocked=(kept,)), SECONDS).value == (
        lower_bound(shop(car), SECONDS).value
    )


def test_work_that_may_wait_for_quiet_hours_costs_nothing_while_it_waits() -> None:
    upkeep = replace(vehicle("upkeep", scan()), flow_weight=0)
    assert lower_bound(shop(upkeep), SECONDS).value == 0


def test_prices_come_back_to_the_vehicles_own_cost_by_every_way_through_a_start() -> None:
    cars = [vehicle(n, scan(), camera(), drive(), due=at(9)) for n in ("a", "b", "c")]
    auction = Auction(shop(*cars))
    best = auction.raise_bound(0.5)
    costs, through = auction.through(best.prices)
    for number, by_start in enumerate(through):
        first = auction.ways.first_state[auction.ways.first_operation[number]]
        for operation in range(*auction.ways.first_operation[number : number + 2]):
            begin, end = (auction.ways.first_state[operation + step] - first for step in (0, 1))
            assert by_start[begin:end].min() == pytest.approx(costs[number])


def test_windows_are_cut_and_joined_as_sets_of_minutes() -> None:
    rng = np.random.default_rng(7)

    def some() -> list[Window]:
        starts, lengths = rng.integers(0, 50, 4), rng.integers(1, 20, 4)
        return [Window(a, a + n) for a, n in zip(starts.tolist(), lengths.tolist(), strict=True)]

    for _ in range(100):
        first, second = some(), some()
        one, other = ({m for w in ws for m in range(*w)} for ws in (first, second))
        assert {m for w in joined(first) for m in range(*w)} == one
        assert {m for w in common(joined(first), joined(second)) for m in range(*w)} == one & other
        assert {m for w in without(joined(first), second) for m in range(*w)} == one - other


def test_the_sheet_of_a_shop_with_nothing_to_do_is_empty() -> None:
    assert lower_bound(shop(), SECONDS).value == 0
