"""A proof is what trying everything would have shown, and says what it could not show."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from bays.planner import (
    Blocked,
    Operation,
    Placement,
    Plan,
    Problem,
    Row,
    Unit,
    Vehicle,
    Window,
    dispatch,
    plan_of,
    verify,
)
from bays.planner.bound import lower_bound
from bays.planner.prove import prove
from tests.bays.planner.shop import (
    ADA,
    BRAM,
    DAY,
    OPENS,
    PLACEMENTS,
    at,
    camera,
    scan,
    shop,
    shops,
    surround,
    technician,
    vehicle,
)

SECONDS, WORKERS = 60.0, 2


def cheapest(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    proof = prove(problem, plan, SECONDS, workers=WORKERS)
    assert proof.status == "optimal"
    assert proof.plan is not None
    assert proof.plan.cost == proof.bound
    assert verify(problem, proof.plan) == []
    return proof.plan


def by_trying_everything(problem: Problem, starts: range) -> int:
    """The least cost of all plans whose operations start in `starts`; shares nothing with models.

    Every way to fill in start, person, units, place and parking, judged by the verifier alone.
    """
    keys = list(problem.operation_by_key.items())
    choices = [list(_choices(problem, v, o, starts)) for (v, _), o in keys]
    costs = []
    for rows in product(*choices):
        plan = plan_of(problem, rows)
        if not verify(problem, plan):
            costs.append(plan.cost)
    return min(costs)


def _choices(problem: Problem, car: str, operation: Operation, starts: range) -> list[Row]:
    places = operation.placements or tuple(problem.placements)
    people = [t.id for t in problem.technicians if operation.skill in t.skills]
    units = [problem.units_by_type[kind] for kind in operation.equipment]
    return [
        Row(car, operation.id, s, s + operation.minutes, person, None, tuple(chosen), place, park)
        for s, person, place, park in product(starts, people, places, (False, True))
        for chosen in product(*units)
    ]


def short_shop(*cars: Vehicle, **changes: object) -> Problem:
    facts = {
        "placements": {name: PLACEMENTS[name] for name in ("lot", "bay-1")},
        "technicians": (technician("Ada", "camera", "scan"),),
        "units": (Unit("frame-1", "frame", "Frame 1"),),
        "horizon": DAY,
    }
    return shop(*cars, **{**facts, **changes})


def quick(name: str, **changes: object) -> Operation:
    return camera(name, **{"minutes": 10, "placements": ("bay-1",), **changes})


@settings(max_examples=6, deadline=None)
@given(
    st.lists(st.sampled_from([5, 10, 15]), min_size=2, max_size=2),
    st.lists(st.sampled_from([10, 20, 60]), min_size=2, max_size=2),
    st.lists(st.sampled_from([1, 2, 4]), min_size=2, max_size=2),
)
def test_the_optimum_is_what_trying_everything_finds(
    minutes: list[int], dues: list[int], weights: list[int]
) -> None:
    cars = [
        vehicle(str(n), quick("work", minutes=minutes[n]), due=OPENS + dues[n], weight=weights[n])
        for n in range(2)
    ]
    problem = short_shop(*cars)
    assert cheapest(problem).cost == by_trying_everything(problem, range(OPENS, OPENS + 60, 5))


def test_the_optimum_of_a_vehicle_with_two_operations_is_what_trying_everything_finds() -> None:
    first = vehicle("a", quick("one"), quick("two", lag=25), due=OPENS + 50)
    urgent = vehicle("b", quick("work"), release=OPENS + 5, due=OPENS + 30, weight=4)
    problem = short_shop(first, urgent)
    starts = range(OPENS + 10, OPENS + 65, 5)
    assert cheapest(problem).cost == by_trying_everything(problem, starts)


@settings(max_examples=10, deadline=None)
@given(shops(most=3))
def test_what_is_proved_passes_the_verifier_and_is_no_dearer_than_the_plan_given(
    problem: Problem,
) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    proof = prove(problem, plan, 2.0, workers=WORKERS)
    assert proof.status in ("optimal", "bounded")
    assert proof.plan is not None
    assert verify(problem, proof.plan) == []
    assert proof.bound <= proof.plan.cost <= plan.cost
    assert lower_bound(problem, 0.2).value <= proof.plan.cost


@settings(max_examples=6, deadline=None)
@given(shops(most=3), st.integers(0, 2))
def test_without_one_vehicle_the_optimum_is_never_dearer(problem: Problem, which: int) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan) and len(problem.vehicles) > which)
    assert isinstance(plan, Plan)
    whole = prove(problem, plan, 2.0, workers=WORKERS)
    assume(whole.status == "optimal" and whole.plan is not None)
    assert whole.plan is not None
    fewer = replace(problem, vehicles=problem.vehicles[:which] + problem.vehicles[which + 1 :])
    kept = plan_of(fewer, [r for r in whole.plan.rows if r.vehicle in fewer.vehicle_by_id])
    assert verify(fewer, kept) == []
    less = prove(fewer, kept, 2.0, workers=WORKERS)
    assert less.plan is not None
    assert less.plan.cost <= whole.plan.cost


def test_a_shop_with_nothing_to_do_costs_nothing() -> None:
    assert prove(shop(), Plan((), 0), SECONDS).status == "optimal"


def test_no_plan_at_all_is_told_from_no_plan_found() -> None:
    pinned = quick("work")
    blocked = (Blocked("z1", Window(0, DAY), "painting"),)
    impossible = short_shop(vehicle("a", pinned), blocked=blocked)
    assert prove(impossible, None, SECONDS).status == "infeasible"
    hurried = prove(short_shop(vehicle("a", quick("work"))), None, 0.0, workers=1)
    assert hurried.status == "nothing"
    assert math.isfinite(hurried.bound)


def test_two_vehicles_that_cannot_both_be_done_before_the_horizon_have_no_plan() -> None:
    long = quick("work", minutes=300)
    both = short_shop(vehicle("a", long), vehicle("b", long), horizon=at(17))
    assert prove(both, None, SECONDS, workers=WORKERS).status == "infeasible"
    assert prove(replace(both, vehicles=both.vehicles[:1]), None, SECONDS).status == "optimal"


def test_a_question_that_contradicts_itself_proves_nothing_and_says_why() -> None:
    proof = prove(shop(vehicle("a", scan(minutes=0))), None, SECONDS)
    assert (proof.status, "takes no time" in proof.says) == ("nothing", True)


def test_a_plan_that_breaks_a_rule_is_not_believed() -> None:
    problem = shop(vehicle("a", scan()))
    proof = prove(problem, Plan((), 0), SECONDS, workers=WORKERS)
    assert proof.plan is not None
    assert verify(problem, proof.plan) == []


def test_the_better_order_is_found_where_the_sooner_promise_is_the_longer_job() -> None:
    long = vehicle("long", surround(minutes=180), due=at(9))
    quick_ones = [vehicle(n, surround(minutes=30), due=at(9, 30), weight=4) for n in "ab"]
    problem = shop(long, *quick_ones)
    order = [row.vehicle for row in cheapest(problem).rows]
    assert order[-1] == "long"


def test_set_up_is_shared_by_going_on_at_once_in_the_same_place() -> None:
    first = camera("one", set_up="frame", placements=("bay-1", "bay-2"))
    then = camera("two", set_up="frame", shared_minutes=20, placements=("bay-1", "bay-2"))
    rows = cheapest(shop(vehicle("a", first, then))).rows
    assert [row.end - row.start for row in rows] == [40, 20]
    assert rows[0].placement == rows[1].placement
    assert rows[0].units == rows[1].units


def test_units_asked_for_by_name_are_used() -> None:
    car = vehicle("a", camera(equipment=(), exact_units=("frame-2",)))
    assert cheapest(shop(car)).rows[0].units == ("frame-2",)


def test_a_part_is_waited_for() -> None:
    assert cheapest(shop(vehicle("a", scan(not_before=at(9, 2))))).rows[0].start == at(9, 5)


def test_whoever_drives_the_vehicle_is_not_at_work_meanwhile() -> None:
    alone = {"technicians": (ADA,), "technicians_drive": True}
    cars = [vehicle(n, camera(placements=(p,))) for n, p in (("a", "bay-1"), ("b", "bay-2"))]
    first, second = cheapest(shop(*cars, **alone)).rows
    assert second.start - first.end == 10
    first, second = cheapest(shop(*cars, **{**alone, "technicians_drive": False})).rows
    assert second.start == first.end


def test_nobody_drives_through_where_another_stands() -> None:
    deep = Placement("deep", frozenset({"z9"}), "floor", "Deep", crosses=frozenset({"z1"}))
    places = {**PLACEMENTS, "deep": deep}
    cars = (
        vehicle("a", camera("one", placements=("bay-1",)), due=at(9)),
        vehicle("b", camera("two", placements=("deep",)), due=at(9), weight=2),
    )
    rows = {row.vehicle: row for row in cheapest(shop(*cars, placements=places)).rows}
    assert not rows["a"].start <= rows["b"].start - 10 < rows["a"].end
    assert not rows["a"].start <= rows["b"].end < rows["a"].end


def test_two_people_are_there_where_two_are_needed() -> None:
    cars = [vehicle(n, scan(second_person_minutes=10)) for n in ("a", "b")]
    first, second = cheapest(shop(*cars)).rows
    assert second.start >= first.start + 10
    assert {first.technician, first.second_person} == {"ada", "bram"}


def test_a_replan_changes_nothing_that_need_not_change() -> None:
    problem = shop(*(vehicle(n, scan(), camera(), due=at(10)) for n in ("a", "b")))
    best = cheapest(problem)
    now = at(8, 20)
    pins = tuple(row for row in best.rows if row.start < now)
    again = replace(problem, now=now, pins=pins, previous=best.rows)
    assert [r.start for r in cheapest(again).rows] == [r.start for r in best.rows]


def test_counted_work_makes_the_answer_repeat_itself() -> None:
    cars = [vehicle(n, scan(), camera(), surround(), due=at(9)) for n in ("a", "b", "c")]
    problem = shop(*cars)
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    proofs = [prove(problem, plan, 1.0, workers=4, repeatable=True) for _ in range(2)]
    assert proofs[0].plan == proofs[1].plan


@pytest.mark.parametrize("people", [(ADA,), (ADA, BRAM)])
def test_the_whole_team_costs_no_more_than_part_of_it(people: tuple) -> None:
    cars = [vehicle(n, scan(), camera(), due=at(9)) for n in ("a", "b", "c")]
    everyone = cheapest(shop(*cars))
    assert everyone.cost <= cheapest(shop(*cars, technicians=people)).cost
