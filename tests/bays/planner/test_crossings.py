"""Zones driven through on the way in and out are held for just the minutes of the move."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bays.planner import (
    Blocked,
    ModelError,
    Placement,
    Plan,
    Problem,
    Quote,
    Replan,
    Row,
    Rule,
    RunsLong,
    Vehicle,
    Window,
    ZoneClosed,
    dispatch,
    plan_of,
    problem_with,
    quote,
    replan,
    verify,
)
from bays.planner.holding import DRIVES_IN, DRIVES_OUT, Hold, holds, rows_by_vehicle

from .shop import LOT, ROAD, at, camera, drive, shop, shops, surround, vehicle, vehicles

# Two bays off one aisle, and a place whose clear zone reaches over that aisle.
BAY_1 = Placement("bay-1", frozenset({"z1"}), "floor", "Bay 1", 120.0, 5, frozenset({"aisle"}))
BAY_2 = Placement("bay-2", frozenset({"z2"}), "floor", "Bay 2", 90.0, 5, frozenset({"aisle"}))
ACROSS = Placement("wide", frozenset({"z3", "aisle"}), "floor", "Across", 30.0, 10)
WAYS = {p.id: p for p in (LOT, ROAD, BAY_1, BAY_2, ACROSS)}


def moves_of(problem: Problem, plan: Plan, name: str) -> list[tuple[str, int, int, str]]:
    own = rows_by_vehicle(plan.rows)[name]
    return [(h.resource, h.start, h.end, h.why) for h in holds(problem, own) if h.why]


def planned(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    return plan


def row(name: str, start: int, place: str, who: str = "ada", **changes: object) -> Row:
    made = Row(name, "camera", start, start + 40, who, None, ("frame-1",), place)
    return replace(made, **changes)  # type: ignore[arg-type]


def test_the_aisle_is_held_before_the_work_and_after_it_for_the_minutes_of_the_drive() -> None:
    problem = shop(vehicle("a", camera()), placements=WAYS)
    plan = planned(problem)
    assert [(r.start, r.end) for r in plan.rows] == [(at(8, 5), at(8, 45))]
    assert moves_of(problem, plan, "a") == [
        ("aisle", at(8), at(8, 5), DRIVES_IN),
        ("aisle", at(8, 45), at(8, 50), DRIVES_OUT),
    ]


def test_two_vehicles_never_cross_the_aisle_at_once() -> None:
    problem = shop(vehicle("a", camera()), vehicle("b", camera()), placements=WAYS)
    plan = planned(problem)
    assert verify(problem, plan) == []
    assert sorted(r.start for r in plan.rows) == [at(8, 5), at(8, 10)]
    free = replace(problem, placements={**WAYS, "bay-2": replace(BAY_2, crosses=frozenset())})
    assert sorted(r.start for r in planned(free).rows) == [at(8, 5), at(8, 5)]


def test_nobody_drives_through_an_aisle_that_somebody_works_across() -> None:
    long = surround(minutes=120)
    problem = shop(vehicle("a", long, due=at(9)), vehicle("b", camera()), placements=WAYS)
    plan = planned(problem)
    (across,) = (r for r in plan.rows if r.vehicle == "a")
    (other,) = (r for r in plan.rows if r.vehicle == "b")
    assert verify(problem, plan) == []
    assert other.start >= across.end + 5


def test_a_way_in_over_floor_held_all_day_makes_the_place_unusable() -> None:
    closed = Blocked("aisle", Window(0, at(0, 0, 4)), "resurfaced")
    problem = shop(vehicle("a", camera()), placements=WAYS, blocked=(closed,))
    answer = dispatch(problem)
    assert not isinstance(answer, Plan | ModelError)
    open_way = replace(problem, placements={**WAYS, "bay-1": replace(BAY_1, crosses=frozenset())})
    assert planned(open_way).rows[0].placement == "bay-1"


def test_from_place_to_place_the_way_out_and_the_way_in_are_driven_one_after_the_other() -> None:
    first, second = camera(placements=("bay-1",)), camera("again", placements=("bay-2",))
    problem = shop(vehicle("a", first, second), placements=WAYS)
    plan = planned(problem)
    assert [r.start for r in plan.rows] == [at(8, 5), at(8, 55)]
    assert moves_of(problem, plan, "a") == [
        ("aisle", at(8), at(8, 5), DRIVES_IN),
        ("aisle", at(8, 45), at(8, 50), DRIVES_OUT),
        ("aisle", at(8, 50), at(8, 55), DRIVES_IN),
        ("aisle", at(9, 35), at(9, 40), DRIVES_OUT),
    ]
    assert problem.travel_minutes("bay-1", "bay-2") == 10


def test_driving_off_to_the_road_and_back_crosses_the_aisle_as_well() -> None:
    steps = camera(placements=("bay-1",)), drive(), camera("again", placements=("bay-1",))
    problem = shop(vehicle("a", *steps), placements=WAYS)
    plan = planned(problem)
    assert [m[1:] for m in moves_of(problem, plan, "a")[1:3]] == [
        (at(8, 45), at(8, 50), DRIVES_OUT),
        (at(9, 10), at(9, 15), DRIVES_IN),
    ]
    assert verify(problem, plan) == []


def test_the_time_to_drive_in_replaces_the_usual_minutes() -> None:
    far = replace(BAY_1, drive_minutes=25)
    problem = shop(vehicle("a", camera(placements=("bay-1",))), placements={**WAYS, "bay-1": far})
    assert planned(problem).rows[0].start == at(8, 25)
    early = plan_of(problem, [row("a", at(8, 20), "bay-1")])
    assert [v.rule for v in verify(problem, early)] == [Rule.ORDER]


def test_a_vehicle_that_stands_there_already_needs_no_way_in() -> None:
    stands = replace(vehicle("a", camera(placements=("bay-1",))), stands="bay-1")
    problem = shop(stands, placements=WAYS)
    plan = planned(problem)
    assert plan.rows[0].start == at(8)
    assert moves_of(problem, plan, "a") == [("aisle", at(8, 40), at(8, 45), DRIVES_OUT)]
    assert verify(problem, plan) == []


def test_what_is_being_done_needs_no_way_in_any_more() -> None:
    doing = row("a", at(7, 50), "bay-1", end=at(8, 30))
    problem = shop(
        replace(vehicle("a", camera()), release=at(7, 50)), placements=WAYS, pins=(doing,)
    )
    assert moves_of(problem, planned(problem), "a") == [("aisle", at(8, 30), at(8, 35), DRIVES_OUT)]


@pytest.mark.parametrize(
    ("other", "says"),
    [
        (row("b", at(8, 50), "wide", "bram"), "stands on"),
        (row("b", at(9, 5), "bay-2", "bram", units=("frame-2",)), "drives through"),
        (row("b", at(9, 50), "bay-2", "bram", units=("frame-2",)), "drives through"),
    ],
    ids=["stands in the way", "drives in together", "drives out while the other drives in"],
)
def test_the_verifier_catches_two_vehicles_on_the_same_floor(other: Row, says: str) -> None:
    wanted = vehicle("b", camera(placements=("bay-2", "wide")))
    problem = shop(vehicle("a", camera()), wanted, placements=WAYS)
    other = replace(other, units=("frame-2",))
    plan = plan_of(problem, [row("a", at(9, 5), "bay-1"), other])
    found = verify(problem, plan)
    assert {v.rule for v in found} == {Rule.CROSSING}
    assert all(says in v.says for v in found)


def test_the_verifier_catches_a_drive_over_closed_floor() -> None:
    mopped = Blocked("aisle", Window(at(9), at(9, 2)), "wet floor")
    problem = shop(vehicle("a", camera()), placements=WAYS, blocked=(mopped,))
    found = verify(problem, plan_of(problem, [row("a", at(9, 5), "bay-1")]))
    assert [v.rule for v in found] == [Rule.CROSSING]
    assert "wet floor" in found[0].says
    own = replace(problem, blocked=(replace(mopped, vehicle="a"),))
    assert verify(own, plan_of(own, [row("a", at(9, 5), "bay-1")])) == []


def test_a_vehicle_is_not_in_its_own_way() -> None:
    through = replace(BAY_2, crosses=frozenset({"aisle", "z1"}))
    steps = camera(placements=("bay-1",)), camera("again", placements=("bay-2",))
    problem = shop(vehicle("a", *steps), placements={**WAYS, "bay-2": through})
    assert verify(problem, planned(problem)) == []


def test_the_plan_in_force_moves_when_work_runs_long_in_the_aisle() -> None:
    wide = vehicle("a", camera(placements=("wide",)), due=at(9))
    problem = shop(wide, vehicle("b", camera(), release=at(9)), placements=WAYS)
    plan = planned(problem)
    answer = replan(problem, plan, at(8, 20), RunsLong("a", "camera", at(11)))
    assert isinstance(answer, Replan)
    assert verify(answer.problem, answer.plan) == []
    (moved,) = (r for r in answer.plan.rows if r.vehicle == "b")
    assert moved.start >= at(11, 5)


def test_closing_an_aisle_nobody_stands_in_moves_those_who_would_drive_through() -> None:
    problem = shop(vehicle("a", camera()), placements=WAYS)
    plan = planned(problem)
    answer = replan(problem, plan, at(8), ZoneClosed("aisle", Window(at(8), at(12))))
    assert isinstance(answer, Replan)
    assert answer.plan.rows[0].start == at(12, 5)


def test_contradictions_in_ways_are_named() -> None:
    wrong = replace(BAY_1, crosses=frozenset({"z1"}), drive_minutes=-5)
    paved = replace(LOT, crosses=frozenset({"aisle"}))
    stranger = replace(vehicle("a", camera()), stands="attic")
    problem = shop(stranger, placements={**WAYS, "bay-1": wrong, "lot": paved})
    answer = dispatch(problem)
    assert isinstance(answer, ModelError)
    assert len(answer.faults) == 4


@st.composite
def shops_with_ways(draw: st.DrawFn) -> Problem:
    """Random shops, each place with a random way in over aisles and over other places' floor."""
    problem = draw(shops())
    floor = ["z1", "z2", "z3", "aisle-1", "aisle-2"]
    places = dict(problem.placements)
    for name, place in problem.placements.items():
        if place.kind != "floor":
            continue
        zones = place.zones | set(draw(st.lists(st.sampled_from(floor[3:]), max_size=1)))
        crosses = draw(st.sets(st.sampled_from(floor), max_size=3)) - zones
        minutes = draw(st.sampled_from([None, 5, 5, 10, 7]))
        places[name] = replace(
            place, zones=zones, crosses=frozenset(crosses), drive_minutes=minutes
        )
    standing = draw(st.sampled_from([None, "bay-1", "rack"]))
    first, *rest = problem.vehicles
    changed = (replace(first, stands=standing), *rest)
    return replace(problem, placements=places, vehicles=changed)


shops_tried = settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def met(problem: Problem, plan: Plan) -> list[tuple[Hold, Hold]]:
    """Zones held by two vehicles at once, from the planner's own holds alone."""
    taken = [
        hold
        for own in rows_by_vehicle(plan.rows).values()
        for hold in holds(problem, own)
        if hold.resource.startswith(("z", "aisle"))
    ]
    return [
        (a, b)
        for a, b in combinations(taken, 2)
        if a.resource == b.resource and max(a.start, b.start) < min(a.end, b.end)
    ]


@given(shops_with_ways())
@shops_tried
def test_every_plan_with_ways_passes_the_verifier_and_shares_no_floor(problem: Problem) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    assert verify(problem, plan) == []
    assert met(problem, plan) == []


@given(shops_with_ways(), st.data())
@shops_tried
def test_pins_with_ways_stay_and_the_rest_is_planned_around_them(
    problem: Problem, data: st.DataObject
) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    pinned = replace(problem, pins=tuple(data.draw(st.sets(st.sampled_from(plan.rows)))))
    again = dispatch(pinned)
    if isinstance(again, Plan):
        assert verify(pinned, again) == []


@given(shops_with_ways(), vehicles("new"))
@shops_tried
def test_every_offer_with_ways_is_verified(problem: Problem, new: Vehicle) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    asked = problem_with(problem, new)
    answer = quote(problem, plan, new)
    assert isinstance(answer, Quote)
    for offer in answer.offers:
        whole = plan_of(asked, (*plan.rows, *offer.rows))
        assert verify(asked, whole) == []
        assert met(asked, whole) == []


@given(shops_with_ways(), st.integers(8 * 60, 16 * 60), st.data())
@shops_tried
def test_every_replan_with_ways_is_verified(
    problem: Problem, now: int, data: st.DataObject
) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    now = max(now, problem.now)
    zone = data.draw(st.sampled_from(sorted(problem.every_zone)))
    event = ZoneClosed(zone, Window(now, now + data.draw(st.integers(5, 400))))
    answer = replan(problem, plan, now, event)
    if isinstance(answer, Replan):
        assert verify(answer.problem, answer.plan) == []
