"""The verifier catches every kind of broken rule, and nothing in a sound plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from bays.planner import Blocked, Plan, Problem, Row, Rule, Unit, Window, dispatch, plan_of, verify

from .shop import ADA, BRAM, MAT, SCANNERS, at, camera, days, scan, shop, surround, vehicle

FIRST = vehicle("a", scan(), camera(second_person_minutes=10), surround(), due=at(12))
SECOND = vehicle("b", scan(), camera(), due=at(15))
PROBLEM = shop(FIRST, SECOND)


def sound() -> Plan:
    plan = dispatch(PROBLEM)
    assert isinstance(plan, Plan)
    return plan


def broken(vehicle_id: str, operation: str, **changes: object) -> set[Rule]:
    rows = [
        replace(row, **changes) if row.key == (vehicle_id, operation) else row  # type: ignore[arg-type]
        for row in sound().rows
    ]
    return {violation.rule for violation in verify(PROBLEM, Plan(tuple(rows), 0))}


def row_of(vehicle_id: str, operation: str) -> Row:
    return next(row for row in sound().rows if row.key == (vehicle_id, operation))


def test_a_sound_plan_has_no_violation() -> None:
    assert verify(PROBLEM, sound()) == []


@pytest.mark.parametrize(
    ("operation", "changes", "rule"),
    [
        ("scan", {"end": at(8, 20)}, Rule.DURATION),
        ("scan", {"start": at(7, 30), "end": at(7, 45)}, Rule.BEFORE_NOW),
        ("camera", {"start": at(19), "end": at(19, 40)}, Rule.CLOSED),
        ("camera", {"start": at(23, 30, 3), "end": at(0, 10, 4)}, Rule.HORIZON),
        ("camera", {"placement": "rack"}, Rule.PLACEMENT),
        ("scan", {"placement": "road"}, Rule.PLACEMENT),
        ("scan", {"technician": "nobody"}, Rule.TECHNICIAN),
        ("surround", {"technician": "bram"}, Rule.SKILL),
        ("camera", {"start": at(19), "end": at(19, 40)}, Rule.OFF_SHIFT),
        ("camera", {"second_person": None}, Rule.SECOND_PERSON),
        ("scan", {"second_person": "bram"}, Rule.SECOND_PERSON),
        ("camera", {"units": ()}, Rule.UNITS),
        ("camera", {"units": ("mat-1",)}, Rule.UNITS),
        ("camera", {"units": ("frame-1", "frame-2")}, Rule.UNITS),
        ("camera", {"placement": "nowhere"}, Rule.UNKNOWN),
    ],
)
def test_a_single_bad_row_breaks_its_rule(
    operation: str, changes: dict[str, object], rule: Rule
) -> None:
    assert rule in broken("a", operation, **changes)


def test_the_leader_cannot_be_the_second_person() -> None:
    leader = row_of("a", "camera").technician
    assert Rule.SECOND_PERSON in broken("a", "camera", second_person=leader)


def test_a_missing_an_unknown_and_a_doubled_row_are_told_apart() -> None:
    rows = sound().rows
    stranger = replace(rows[0], vehicle="stranger")
    for changed, rule in (
        (rows[1:], Rule.MISSING),
        ((*rows, rows[0]), Rule.TWICE),
        ((*rows, stranger), Rule.UNKNOWN),
    ):
        plan = Plan(changed, 0, {})
        assert rule in {violation.rule for violation in verify(PROBLEM, plan)}


def test_operations_out_of_order_or_without_time_to_move_are_caught() -> None:
    camera_row = row_of("a", "camera")
    early = camera_row.start - 5
    assert Rule.ORDER in broken("a", "camera", start=early, end=early + 40)


def test_a_first_operation_before_the_vehicle_is_here_is_caught() -> None:
    late = replace(PROBLEM, vehicles=(replace(FIRST, release=at(9)), SECOND))
    assert Rule.ORDER in {violation.rule for violation in verify(late, sound())}


def test_a_lag_not_kept_is_caught() -> None:
    slow = replace(
        FIRST, operations=(scan(), camera(second_person_minutes=10, lag=300), surround())
    )
    problem = replace(PROBLEM, vehicles=(slow, SECOND))
    assert Rule.ORDER in {violation.rule for violation in verify(problem, sound())}


@pytest.mark.parametrize("resource", ["technician", "unit", "zone"])
def test_every_kind_of_double_booking_is_caught(resource: str) -> None:
    a, b = row_of("a", "camera"), row_of("b", "camera")
    same = {"start": a.start, "end": a.end, "park_after": True}
    changes = {
        "technician": {**same, "technician": a.technician, "placement": "bay-2"},
        "unit": {**same, "units": a.units, "placement": "bay-2"},
        "zone": {**same, "placement": a.placement},
    }[resource]
    rows = [replace(row, **changes) if row.key == b.key else row for row in sound().rows]  # type: ignore[arg-type]
    name = {"technician": a.technician, "unit": a.units[0], "zone": "z1"}[resource]
    assert a.placement == "bay-1"
    found = verify(PROBLEM, plan_of(PROBLEM, rows))
    doubled = [v.says for v in found if v.rule == Rule.DOUBLE_BOOKED]
    assert any(says.startswith(f"{name} is taken") for says in doubled)


def waiting_in_the_bay(park_after: bool) -> tuple[Problem, Plan]:
    """One vehicle waits out a lag after its camera; another uses the same bay meanwhile."""
    waits = vehicle("w", camera(), scan("after", lag=240))
    uses = vehicle("u", camera(placements=("bay-1",)))
    problem = shop(waits, uses)
    rows = (
        Row("w", "camera", at(9), at(9, 40), "ada", None, ("frame-1",), "bay-1", park_after),
        Row("w", "after", at(13, 40), at(13, 55), "ada", None, ("scan-1",), "bay-1"),
        Row("u", "camera", at(10), at(10, 40), "bram", None, ("frame-1",), "bay-1"),
    )
    return problem, plan_of(problem, rows)


def test_a_vehicle_holds_its_bay_while_it_waits_there() -> None:
    assert {v.rule for v in verify(*waiting_in_the_bay(park_after=False))} == {Rule.DOUBLE_BOOKED}


def test_a_parked_vehicle_leaves_its_bay_free() -> None:
    assert verify(*waiting_in_the_bay(park_after=True)) == []


def problem_where(change: str) -> Problem:
    a = row_of("a", "camera")
    during = Window(a.start + 10, a.start + 15)
    ways: dict[str, Callable[[], Problem]] = {
        "unit out of service": lambda: replace(
            PROBLEM,
            units=(
                MAT,
                Unit("frame-1", "frame", "Frame 1", (during,)),
                Unit("frame-2", "frame", "Frame 2", (during,)),
                *SCANNERS,
            ),
        ),
        "zone closed": lambda: replace(PROBLEM, blocked=(Blocked("z1", during, "wet floor"),)),
        "technician away": lambda: replace(
            PROBLEM, blocked=(Blocked(a.technician, during, "dentist"),)
        ),
        "lunch": lambda: replace(
            PROBLEM,
            technicians=tuple(
                replace(t, shifts=(Window(at(8), during.start), Window(during.end, at(18))))
                for t in (ADA, BRAM)
            ),
        ),
        "skill lapses": lambda: replace(
            PROBLEM,
            technicians=tuple(
                replace(t, skills={s: (Window(0, during.end),) for s in t.skills})
                for t in (ADA, BRAM)
            ),
        ),
    }
    return ways[change]()


@pytest.mark.parametrize(
    ("change", "rule"),
    [
        ("unit out of service", Rule.UNAVAILABLE),
        ("zone closed", Rule.BLOCKED),
        ("technician away", Rule.BLOCKED),
        ("lunch", Rule.OFF_SHIFT),
        ("skill lapses", Rule.SKILL),
    ],
)
def test_a_resource_that_is_not_there_is_caught(change: str, rule: Rule) -> None:
    assert rule in {violation.rule for violation in verify(problem_where(change), sound())}


def test_a_moved_pin_is_caught_and_a_pin_is_no_subject_to_opening_hours() -> None:
    pin = replace(row_of("a", "scan"), start=at(7), end=at(7, 15))
    problem = replace(PROBLEM, pins=(pin,), vehicles=(replace(FIRST, release=at(6)), SECOND))
    assert Rule.PIN_MOVED in {violation.rule for violation in verify(problem, sound())}
    kept = plan_of(problem, (pin, *(row for row in sound().rows if row.key != pin.key)))
    assert verify(problem, kept) == []


def test_wrong_figures_are_caught() -> None:
    plan = sound()
    assert [v.rule for v in verify(PROBLEM, replace(plan, cost=plan.cost - 1))] == [Rule.WRONG_COST]
    assert [v.rule for v in verify(PROBLEM, replace(plan, late={"a": 5}))] == [Rule.WRONG_LATE]


def test_shifts_that_touch_count_as_one_stretch() -> None:
    halves = (*days(4, at(8), at(8, 30)), *days(4, at(8, 30), at(18)))
    people = tuple(replace(t, shifts=halves) for t in (ADA, BRAM))
    assert verify(replace(PROBLEM, technicians=people), sound()) == []
