"""What a real shop has besides: parts to wait for, shared set-ups, drivers, units by name, upkeep.

Each rule is obeyed by `dispatch`, and the verifier catches it broken.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from bays.planner import (
    Blocked,
    Infeasible,
    ModelError,
    Operation,
    Plan,
    Problem,
    Row,
    Rule,
    Window,
    dispatch,
    plan_of,
    verify,
)

from .shop import ADA, BRAM, at, camera, days, scan, shop, surround, vehicle

SHARE = {"set_up": "frame at the front", "shared_minutes": 25}


def planned(problem: Problem) -> Plan:
    answer = dispatch(problem)
    assert isinstance(answer, Plan), answer
    assert verify(problem, answer) == []
    return answer


def rows(problem: Problem) -> dict[str, Row]:
    return {row.operation: row for row in planned(problem).rows}


def broken(problem: Problem, operation: str, **changes: object) -> set[Rule]:
    """The rules that the plan breaks when one row is changed."""
    changed = [
        replace(row, **changes) if row.operation == operation else row  # type: ignore[arg-type]
        for row in planned(problem).rows
    ]
    return {violation.rule for violation in verify(problem, plan_of(problem, changed))}


def test_an_operation_waits_for_its_part_and_the_verifier_sees_when_it_does_not() -> None:
    problem = shop(vehicle("a", scan(), camera(not_before=at(11, 2))))
    assert rows(problem)["camera"].start == at(11, 5)
    found = broken(problem, "camera", start=at(11), end=at(11, 40))
    assert found == {Rule.WAITING}


def test_a_part_that_comes_after_the_horizon_is_said_so() -> None:
    answer = dispatch(shop(vehicle("a", camera(not_before=at(9, 0, day=5)))))
    assert isinstance(answer, Infeasible)
    assert "what it waits for is expected at" in answer.binding.says


def test_a_unit_named_is_taken_besides_one_of_the_type() -> None:
    problem = shop(vehicle("a", camera(exact_units=("frame-1",))))
    assert sorted(rows(problem)["camera"].units) == ["frame-1", "frame-2"]
    assert Rule.UNITS in broken(problem, "camera", units=("frame-2",))


def two_with_one_frame(**changes: object) -> Problem:
    return shop(vehicle("a", camera("one", **SHARE), camera("two", **{**SHARE, **changes})))


def test_the_second_calibration_goes_on_with_what_is_set_out() -> None:
    found = rows(two_with_one_frame())
    assert found["two"].start == found["one"].end
    assert found["two"].end - found["two"].start == 40 - 25
    assert found["two"].units == found["one"].units


@pytest.mark.parametrize(
    "changes",
    [
        {"set_up": "frame at the rear"},
        {"lag": 5},
        {"equipment": ("frame", "scan_tool")},
        {"placements": ("rack",)},
        {"not_before": at(12)},
    ],
)
def test_a_set_up_is_not_shared_with_another_one_later_elsewhere_or_with_other_units(
    changes: dict[str, object],
) -> None:
    found = rows(two_with_one_frame(**changes))
    assert found["two"].end - found["two"].start == 40


def test_a_length_that_does_not_go_with_the_set_up_is_caught_both_ways() -> None:
    problem = two_with_one_frame()
    two = rows(problem)["two"]
    assert Rule.SHARED_SET_UP in broken(problem, "two", end=two.start + 40)
    later = {"start": two.start + 60, "end": two.end + 60}
    assert Rule.SHARED_SET_UP in broken(problem, "two", **later)
    assert Rule.SHARED_SET_UP in broken(problem, "one", park_after=True)
    assert Rule.SHARED_SET_UP in broken(problem, "two", units=("frame-2",))


def driven(**changes: object) -> Problem:
    facts: dict[str, object] = {"technicians_drive": True, "technicians": (ADA,), **changes}
    return shop(vehicle("a", camera()), **facts)


def test_whoever_calibrates_brings_the_vehicle_in_first() -> None:
    busy = vehicle("b", scan("other", placements=()), due=at(9))
    problem = shop(vehicle("a", camera()), busy, technicians_drive=True, technicians=(ADA,))
    found = rows(problem)
    assert found["other"].end == at(8, 15)
    assert found["camera"].start == at(8, 15) + problem.move_minutes
    early = at(8, 15) + 5
    assert Rule.DRIVER in broken(problem, "camera", start=early, end=early + 40)


def test_nobody_drives_before_their_shift_or_while_they_are_away() -> None:
    early = replace(ADA, shifts=days(4, at(9), at(18)))
    assert rows(driven(technicians=(early,)))["camera"].start == at(9, 10)
    assert Rule.DRIVER in broken(driven(technicians=(early,)), "camera", start=at(9), end=at(9, 40))
    away = driven(blocked=(Blocked("ada", Window(at(8), at(10)), "dentist"),))
    assert rows(away)["camera"].start == at(10, 10)
    assert Rule.DRIVER in broken(away, "camera", start=at(10), end=at(10, 40))


def test_without_that_rule_somebody_else_drives() -> None:
    early = replace(ADA, shifts=days(4, at(9), at(18)))
    problem = driven(technicians=(early,), technicians_drive=False)
    assert rows(problem)["camera"].start == at(9)


def test_a_pinned_row_takes_its_technician_only_while_it_lasts() -> None:
    pin = Row("a", "camera", at(9), at(9, 40), "ada", None, ("frame-1",), "bay-1")
    other = vehicle("b", scan("other"), release=at(8, 45))
    problem = shop(
        vehicle("a", camera()), other, pins=(pin,), technicians_drive=True, technicians=(ADA,)
    )
    assert rows(problem)["other"].start == at(8, 45)


def test_upkeep_comes_last_and_costs_nothing_to_wait() -> None:
    upkeep = Operation("upkeep", "upkeep", 60, None, (), (), anywhere=True, exact_units=("mat-1",))
    quiet = replace(vehicle("u", upkeep, due=at(18, 0, day=2), weight=1), flow_weight=0)
    visit = vehicle("v", surround(), due=at(10), release=at(8, 30))
    problem = shop(quiet, visit)
    found = rows(problem)
    assert found["surround"].start == at(8, 40)
    assert found["upkeep"].start >= found["surround"].end
    assert planned(problem).cost == planned(shop(visit)).cost
    wrong = replace(problem, vehicles=(replace(quiet, flow_weight=1), visit))
    told = {v.rule for v in verify(wrong, planned(problem))}
    assert told == {Rule.WRONG_COST}


@pytest.mark.parametrize(
    ("operation", "fault"),
    [
        (camera(exact_units=("attic",)), "no unit attic"),
        (camera(exact_units=("frame-1", "frame-1")), "named twice"),
        (camera(shared_minutes=5), "has no name"),
        (camera(set_up="x", shared_minutes=-5), "takes longer"),
        (camera(set_up="x", shared_minutes=40), "takes no time"),
        (camera(set_up="x", shared_minutes=35, second_person_minutes=10), "second person stays"),
    ],
)
def test_what_cannot_be_shared_or_named_is_a_model_error(operation: Operation, fault: str) -> None:
    answer = dispatch(shop(vehicle("a", operation)))
    assert isinstance(answer, ModelError)
    assert fault in answer.says


def test_an_empty_shop_and_one_without_vehicles_have_empty_plans() -> None:
    assert planned(shop()) == Plan((), 0, {})


def test_a_promise_before_the_arrival_is_late_and_says_by_how_much() -> None:
    plan = planned(shop(vehicle("a", camera(), release=at(10), due=at(9))))
    assert plan.late == {"a": 110}


def test_a_shop_of_one_that_needs_two_people_says_so() -> None:
    answer = dispatch(shop(vehicle("a", camera(second_person_minutes=10)), technicians=(ADA,)))
    assert isinstance(answer, Infeasible)
    assert "needs two people" in answer.binding.says


@pytest.mark.parametrize(
    ("day", "minutes", "opens_at"),
    [(datetime(2026, 3, 28), 1380, "08:00"), (datetime(2026, 10, 24), 1500, "08:00")],
)
def test_a_night_in_which_the_clocks_change_lasts_as_long_as_it_lasts(
    day: datetime, minutes: int, opens_at: str
) -> None:
    """Ireland: the last Sundays of March and October 2026, by the time zone database."""
    origin = day.replace(tzinfo=ZoneInfo("Europe/Dublin"))
    opens = (Window(at(8), at(18)), Window(minutes + 480, minutes + 900))
    people = tuple(replace(t, shifts=opens) for t in (ADA, BRAM))
    problem = shop(
        vehicle("a", scan(), scan("next", lag=12 * 60), release=at(17, 45)),
        origin=origin,
        open=opens,
        technicians=people,
    )
    start = rows(problem)["next"].start
    assert start == minutes + 480
    assert f"{problem.moment(start):%H:%M}" == opens_at
