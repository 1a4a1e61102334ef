"""What would help: hand-made shops where the answer follows by reasoning."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bays.planner import Plan, Problem, Vehicle, dispatch, explain, verify
from bays.planner.helping import what_helps
from bays.planner.remedies import days_of, remedies
from bays.planner.trials import Budget, Spread, frozen, planned
from tests.bays.planner.shop import (
    ADA,
    BAY_1,
    BAY_2,
    LOT,
    MAT,
    ORIGIN,
    ROAD,
    at,
    days,
    surround,
    technician,
)

QUICK = Budget(seconds=0.02, seeds=(1, 2))
ONLY_MAT = {"minutes": 60, "placements": ("bay-1", "bay-2")}
EVE = technician("Eve", "surround")


def two_for_one_mat_set() -> Problem:
    """Two hours of mats promised for one, with two bays and two people: only mats are short."""
    vehicles = tuple(
        Vehicle(name, name, at(8), at(9, 15), 1, (surround(**ONLY_MAT),)) for name in ("A", "B")
    )
    return Problem(
        origin=ORIGIN,
        now=at(7),
        horizon=at(0, 0, 3),
        move_minutes=5,
        open=days(3),
        placements={p.id: p for p in (LOT, ROAD, BAY_1, BAY_2)},
        technicians=(ADA, EVE),
        units=(MAT,),
        vehicles=vehicles,
    )


def plan_of_it(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    return plan


def test_one_more_of_the_only_short_type_puts_the_late_vehicle_on_time() -> None:
    problem = two_for_one_mat_set()
    plan = plan_of_it(problem)
    assert dict(plan.late) == {"B": 50}  # mats from 8:05 for A and from 9:05 for B
    found = what_helps(problem, plan, "B", QUICK)
    best = found.helps[0]
    assert (best.kind, best.after.late, best.fewer_minutes) == ("unit", 0, found.again.late)
    assert best.what == "one more mat set"
    told = "one more mat set: B done 09:05 instead of 10:05, on time, 50 minutes late fewer in all"
    assert best.says == told
    assert found.says == f"Most of all: {told}."


def test_what_is_not_short_is_told_as_no_help() -> None:
    problem = two_for_one_mat_set()
    found = what_helps(problem, plan_of_it(problem), "B", QUICK)
    kinds = {one.kind for one in found.helps}
    assert "bay" not in kinds
    assert "person" not in kinds


def test_a_swap_helps_one_at_the_cost_of_the_other() -> None:
    problem = two_for_one_mat_set()
    found = what_helps(problem, plan_of_it(problem), "B", QUICK)
    swap = next(one for one in found.helps if one.kind == "order")
    assert swap.after.late == 0
    assert swap.fewer_minutes <= 0
    assert swap.fewer_others_late == -1


def test_a_later_promise_is_worth_no_more_than_it_is_later() -> None:
    problem = two_for_one_mat_set()
    found = what_helps(problem, plan_of_it(problem), "B", QUICK)
    promise = next(one for one in found.helps if one.id == "promise:B")
    assert promise.fewer_minutes == 30
    assert promise.minutes_sooner == 0


def test_a_vehicle_that_waits_for_nothing_is_not_helped_by_anything_but_time() -> None:
    problem = two_for_one_mat_set()
    alone = replace(problem, vehicles=problem.vehicles[:1])
    found = what_helps(alone, plan_of_it(alone), "A", QUICK)
    assert {one.kind for one in found.helps} <= {"promise", "earlier"}
    assert "A" in found.says


def test_remedies_that_add_are_never_dearer_than_the_plan_in_force() -> None:
    problem = two_for_one_mat_set()
    plan = plan_of_it(problem)
    chain = explain(problem, plan, "B").chain
    for remedy in remedies(problem, plan, "B", chain):
        found = planned(remedy.problem, plan, QUICK, remedy.first)
        assert found, remedy.id
        for one in found:
            assert verify(remedy.problem, one) == [], remedy.id
            if remedy.kind != "order":
                assert one.cost <= plan.cost, remedy.id


def test_what_starts_soon_stays_where_it_is() -> None:
    problem = replace(two_for_one_mat_set(), now=at(8))
    plan = plan_of_it(problem)
    first = plan.rows[0]
    calm = frozen(problem, plan, 30)
    assert calm.pins == (first,)
    chain = explain(problem, plan, "B").chain
    assert all(remedy.kind != "order" for remedy in remedies(calm, plan, "B", chain))


def test_progress_is_told_and_whatever_it_raises_ends_the_work() -> None:
    class Enough(Exception):
        pass

    heard: list[tuple[int, int]] = []

    def tell(done: int, of: int) -> None:
        heard.append((done, of))
        if done == 2:
            raise Enough

    problem = two_for_one_mat_set()
    with pytest.raises(Enough):
        what_helps(problem, plan_of_it(problem), "B", QUICK, tell=tell)
    assert [done for done, _ in heard] == [0, 1, 2]


def test_a_spread_is_below_another_only_without_overlap() -> None:
    assert Spread.of([1, 3, 2]) == Spread(1, 2, 3)
    assert Spread.of([1, 2]).surely_below(Spread.of([3, 5]))
    assert not Spread.of([1, 3]).surely_below(Spread.of([3, 5]))
    with pytest.raises(ValueError, match="no runs"):
        Spread.of([])


def test_days_are_the_shops_own_over_a_clock_change() -> None:
    # Clocks in Dublin go forward on 29 March 2026: that Sunday has 1380 minutes.
    problem = replace(two_for_one_mat_set(), horizon=30 * 1440)
    grouped = days_of(problem, days(30))
    assert len(grouped) == 30
    assert len({problem.moment(day[0].start).date() for day in grouped}) == 30
