"""Where a step can go and why not elsewhere; what comes of moving it there.

The masks are checked against the verifier, which shares no code with them: what is said to be
open passes it, and what is said to be shut breaks a rule whatever is tried.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from bays.planner import (
    Blocked,
    Plan,
    Problem,
    Row,
    Technician,
    Unit,
    Window,
    dispatch,
    plan_of,
    verify,
)
from bays.planner.feasible import Span, Where, loosened
from bays.planner.places import where
from bays.planner.step_move import CannotMove, Moved, moved, restored

from .shop import ADA, BRAM, at, camera, days, drive, scan, shop, shops, surround, vehicle

DAY = Window(at(8), at(18))
FIRST, OTHER = vehicle("3126", camera(), scan("post")), vehicle("3121", surround())


def planned(problem: Problem) -> Plan:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    return plan


def row_of(plan: Plan, name: str, operation: str) -> Row:
    return next(row for row in plan.rows if row.key == (name, operation))


def span_at(found: Where, row: str, minute: int) -> Span:
    return next(span for span in found.rows[row] if span.first <= minute <= span.last)


def asked(problem: Problem, plan: Plan, name: str, operation: str, **more: object) -> Where:
    return where(problem, plan, (name, operation), window=DAY, **more)  # type: ignore[arg-type]


def two_visits() -> tuple[Problem, Plan]:
    """3121 has both bays from 8:10 to 9:10 with the mats; 3126's camera follows in bay 1."""
    problem = shop(replace(OTHER, due=at(10)), FIRST)
    return problem, planned(problem)


def test_every_start_of_the_window_is_told_once_in_every_row() -> None:
    problem, plan = two_visits()
    found = asked(problem, plan, "3126", "camera")
    assert set(found.rows) == {"z1", "z2", "z3", "ada", "bram"}
    for spans in found.rows.values():
        starts = [m for s in spans for m in range(s.first, s.last + 5, 5)]
        assert starts == list(range(at(8), at(18), 5))
        assert all(span.says for span in spans if span.kind == "shut")


def test_a_taken_bay_is_named_with_who_has_it_and_until_when() -> None:
    problem, plan = two_visits()
    span = span_at(asked(problem, plan, "3126", "camera"), "z2", at(8, 40))
    assert (span.kind, span.says) == ("shut", "Bay 2 is taken by RO 3121 until 09:10")


def test_bays_have_the_names_people_call_them_by() -> None:
    problem, plan = two_visits()
    found = asked(problem, plan, "3126", "camera", zone_names={"z2": "The west bay"})
    assert "The west bay is taken by" in span_at(found, "z2", at(8, 40)).says


def test_a_technician_without_the_skill_is_told_apart_from_a_busy_one() -> None:
    problem, plan = two_visits()
    assert span_at(asked(problem, plan, "3121", "surround"), "bram", at(12)).says == (
        "Bram has no skill for surround view"
    )
    row = row_of(plan, "3121", "surround")
    assert row.technician == "ada"
    found = asked(problem, plan, "3126", "camera")
    assert span_at(found, "ada", row.start).says == "Ada is on RO 3121 until 09:10"


def test_the_only_unit_is_named_with_what_it_is_on() -> None:
    again = vehicle("3120", surround(placements=("rack",)))
    able = (ADA, replace(BRAM, skills=ADA.skills))
    problem = shop(replace(OTHER, due=at(9)), again, technicians=able)
    plan = planned(problem)
    span = span_at(asked(problem, plan, "3120", "surround"), "z3", at(8, 30))
    assert span.says == "Mat set 1 is on RO 3121 until 09:10"


def test_a_wait_says_what_it_is_for() -> None:
    cured = vehicle("3126", camera(lag=100))
    problem = shop(cured)
    found = asked(problem, planned(problem), "3126", "camera", waits_for="the adhesive has to cure")
    says = "not before 09:40: the adhesive has to cure"
    assert span_at(found, "z1", at(8, 20)).says == says
    assert span_at(found, "z1", at(9, 40)).kind == "open"


def test_lunch_closing_and_blocked_floor_are_told() -> None:
    ada = Technician("ada", "Ada", ADA.skills, (*days(4, at(8), at(12)), *days(4, at(13), at(18))))
    blocked = (Blocked("z2", Window(at(14), at(15)), "painting"),)
    problem = shop(FIRST, technicians=(ada, BRAM), blocked=blocked)
    found = asked(problem, planned(problem), "3126", "camera")
    assert span_at(found, "ada", at(11, 50)).says == "Ada is off until 13:00"
    assert span_at(found, "z2", at(14)).says == "Bay 2 is shut until 15:00 (painting)"
    closing = span_at(found, "z1", at(17, 40)).says
    assert closing == "it would not be done before the shop closes at 18:00"


def test_steps_before_it_come_first() -> None:
    problem = shop(vehicle("3126", scan("pre"), camera()))
    found = asked(problem, planned(problem), "3126", "camera")
    assert span_at(found, "z1", at(8, 5)).says == "Scan comes first and is done at 08:15"
    assert span_at(found, "z1", at(8, 20)).says == "it takes until 08:25 to move it there"


def test_what_follows_moves_along_and_the_promise_is_watched() -> None:
    due = replace(FIRST, due=at(12))
    problem = shop(due)
    found = asked(problem, planned(problem), "3126", "camera")
    along, late = span_at(found, "z1", at(10)), span_at(found, "z1", at(11, 10))
    assert (along.kind, along.says) == ("along", "Scan of RO 3126 would move along")
    assert (late.kind, late.says) == ("late", "would push RO 3126 past its promise of 12:00")


def test_a_pinned_step_behind_it_stays_and_says_so() -> None:
    problem = shop(FIRST)
    plan = planned(problem)
    pinned = replace(problem, pins=(row_of(plan, "3126", "post"),))
    found = asked(pinned, plan, "3126", "camera")
    starts = problem.clock(row_of(plan, "3126", "post").start)
    assert span_at(found, "z1", at(10)).says == f"Scan of RO 3126 is kept at {starts}"


def test_a_pin_is_taken_off_before_its_step_is_moved() -> None:
    problem = shop(FIRST)
    plan = planned(problem)
    row = row_of(plan, "3126", "camera")
    fixed = replace(problem, pins=(row,))
    free = loosened(fixed, row.key, minutes=40, lag=30)
    assert free.pins == ()
    assert free.operation_by_key[row.key].lag == 30
    assert isinstance(moved(free, plan, row.key, at(10), "bay-2", "bram"), Moved)


def test_moving_to_another_bay_and_person_changes_that_step_alone() -> None:
    problem = shop(vehicle("3126", camera()), OTHER)
    plan = planned(problem)
    answer = moved(problem, plan, ("3126", "camera"), at(13), "bay-2", "bram")
    assert isinstance(answer, Moved)
    (row,) = answer.rows
    assert (row.start, row.placement, row.technician) == (at(13), "bay-2", "bram")
    assert not answer.along
    assert len(answer.changes) == 1
    assert verify(problem, answer.plan) == []


def test_moving_past_the_next_step_takes_the_rest_of_the_vehicle_along() -> None:
    problem, plan = two_visits()
    answer = moved(problem, plan, ("3126", "camera"), at(14), "bay-1", "ada")
    assert isinstance(answer, Moved)
    assert answer.along
    assert {row.operation for row in answer.rows} == {"camera", "post"}
    assert row_of(answer.plan, "3126", "post").start >= at(14, 40)
    assert verify(problem, answer.plan) == []


def test_moving_past_the_promise_says_by_how_much() -> None:
    problem = shop(vehicle("3126", camera(), due=at(12)))
    answer = moved(problem, planned(problem), ("3126", "camera"), at(12), "bay-1", "ada")
    assert isinstance(answer, Moved)
    assert [move.minutes_late for move in answer.promise_moves] == [40]


@pytest.mark.parametrize(
    ("start", "placement", "technician", "says"),
    [
        (at(8, 30), "bay-2", "bram", "Bay 2 is taken by RO 3121 until 09:10"),
        (at(8, 32), "bay-2", "bram", "that is no place and time to start at"),
        (at(10), "rack", "bram", "that is no place and time to start at"),
        (at(7), "bay-1", "bram", "the shop is closed then"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    start: int, placement: str, technician: str, says: str
) -> None:
    problem, plan = two_visits()
    answer = moved(problem, plan, ("3126", "camera"), start, placement, technician)
    assert answer == CannotMove(says)


def test_a_move_is_taken_back_while_its_old_place_is_free() -> None:
    problem = shop(vehicle("3126", camera()), vehicle("3127", camera()))
    plan = planned(problem)
    row = row_of(plan, "3126", "camera")
    there = moved(problem, plan, row.key, at(14), "bay-2", "bram")
    assert isinstance(there, Moved)
    back = restored(problem, there.plan, [row])
    assert isinstance(back, Moved)
    assert back.plan.rows == plan.rows
    taken = moved(problem, there.plan, ("3127", "camera"), row.start, row.placement, row.technician)
    assert isinstance(taken, Moved)
    refused = restored(problem, taken.plan, [row])
    assert isinstance(refused, CannotMove)
    assert "taken by" in refused.says


def test_an_empty_plan_has_room_for_a_step_that_has_no_time_yet() -> None:
    problem = shop(vehicle("3126", camera()))
    nothing = plan_of(problem, [])
    assert span_at(asked(problem, nothing, "3126", "camera"), "z1", at(9)).kind == "open"
    answer = moved(problem, nothing, ("3126", "camera"), at(9), "bay-1", "ada")
    assert isinstance(answer, Moved)
    assert verify(problem, answer.plan) == []


def test_who_drives_the_vehicle_there_must_be_free_for_that_too() -> None:
    busy = vehicle("3121", drive(), release=at(9))
    ada = Technician("ada", "Ada", ADA.skills, ((Window(at(8), at(18)),)))
    problem = shop(
        busy, vehicle("3126", camera(), release=at(8)), technicians=(ada,), technicians_drive=True
    )
    plan = plan_of(problem, [Row("3121", "drive", at(9), at(9, 30), "ada", None, (), "road")])
    found = asked(problem, plan, "3126", "camera")
    assert span_at(found, "ada", at(9, 30)).kind == "shut"  # she could fetch it from then on
    assert span_at(found, "ada", at(9, 40)).kind == "open"


def test_named_units_and_waiting_for_a_part_are_minded() -> None:
    step = camera(exact_units=("frame-2",), equipment=(), not_before=at(11))
    frames = (Unit("frame-1", "frame", "Frame 1"), Unit("frame-2", "frame", "Frame 2"))
    problem = shop(vehicle("3126", step), units=frames, blocked=(
        Blocked("frame-2", Window(at(12), at(13)), "lent out"),
    ))  # fmt: skip
    found = asked(problem, plan_of(problem, []), "3126", "camera")
    assert span_at(found, "z1", at(10)).says == "not before 11:00: it waits for something"
    assert span_at(found, "z1", at(12, 30)).says == "Frame 2 is shut until 13:00 (lent out)"
    assert span_at(found, "z1", at(13)).kind == "open"


def every_row(problem: Problem, plan: Plan, row: Row, start: int) -> Iterator[Row]:
    """The step at a time in every way there is."""
    operation = problem.operation_by_key[row.key]
    people = [t.id for t in problem.technicians]
    helpers = people if operation.second_person_minutes else [None]
    units = [problem.units_by_type[kind] for kind in operation.equipment]
    places = [p for p in problem.placements if p != "road"] if operation.anywhere else None
    for place, who, helper, park in product(
        places or operation.placements, people, helpers, [False, True]
    ):
        for chosen in product(*units):
            yield replace(
                row, start=start, end=start + operation.minutes, technician=who, units=chosen,
                second_person=helper, placement=place, park_after=park,
            )  # fmt: skip


def possible(problem: Problem, plan: Plan, row: Row, start: int) -> set[str]:
    """The zones and people with which a start passes the verifier, nothing else moved."""
    own = [r for r in plan.rows if r.vehicle == row.vehicle]
    before = max((r for r in own if r.start < row.start), key=lambda r: r.start, default=None)
    good: set[str] = set()
    for one in every_row(problem, plan, row, start):
        for parked in (False, True) if before else (False,):
            new = {one.key: one}
            if before:
                new[before.key] = replace(before, park_after=parked)
            rows = [new.get(r.key, r) for r in plan.rows]
            if not verify(problem, plan_of(problem, rows)):
                good |= {one.technician, *problem.placements[one.placement].zones}
    return good


@pytest.mark.parametrize("seed", range(6))
def test_open_and_shut_agree_with_the_verifier_on_every_start_tried(seed: int) -> None:
    """By trying every place, person, unit and way of parking; on the grid nothing is missed."""
    rng = random.Random(seed)
    kinds = [camera, surround, drive, scan]
    visits = [
        vehicle(f"v{n}", *(rng.choice(kinds)(f"o{k}") for k in range(rng.randint(1, 3))),
                release=at(8) + 5 * rng.randint(0, 30), due=at(18))
        for n in range(4)
    ]  # fmt: skip
    blocked = (Blocked("z1", Window(at(10), at(11)), "closed"),)
    problem = shop(*visits, blocked=blocked)
    plan = planned(problem)
    row = rng.choice(plan.rows)
    found = asked(problem, plan, *row.key)
    following = [r for r in plan.rows if r.vehicle == row.vehicle and r.start > row.start]
    for start in sorted(rng.sample(range(at(8), at(13), 5), 14)):
        good = possible(problem, plan, row, start)
        for resource in found.rows:
            span = span_at(found, resource, start)
            if resource in good:
                assert span.kind in ("open", "late"), (resource, start, span)
            else:
                assert span.kind == "shut" or following, (resource, start, span)


@given(shops(most=4), st.randoms(use_true_random=False))
@settings(
    max_examples=50,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
def test_whatever_is_open_can_be_moved_to_and_what_is_shut_cannot(
    problem: Problem, rng: random.Random
) -> None:
    plan = dispatch(problem)
    assume(isinstance(plan, Plan))
    assert isinstance(plan, Plan)
    row = rng.choice(plan.rows)
    found = where(problem, plan, row.key, window=Window(problem.now, at(20)))
    everything = [(name, span) for name, spans in found.rows.items() for span in spans]
    for name, span in rng.sample(everything, min(4, len(everything))):
        start = rng.randrange(span.first, span.last + 1, 5)
        if span.placement is None or span.technician is None:
            who = name if name in problem.technician_by_id else rng.choice(problem.technicians).id
            places = problem.operation_by_key[row.key].placements or (problem.lot,)
            if name not in problem.technician_by_id:
                places = tuple(p for p in places if name in problem.placements[p].zones)
            if not places or start < problem.now:
                continue
            answer = moved(problem, plan, row.key, start, rng.choice(places), who)
            assert isinstance(answer, CannotMove), (name, span, answer)
            continue
        answer = moved(problem, plan, row.key, start, span.placement, span.technician)
        if span.kind == "open":
            assert isinstance(answer, Moved), (name, span, answer)
            assert not answer.along
        if isinstance(answer, Moved):
            assert verify(problem, answer.plan) == []
            untouched = [r for r in answer.plan.rows if r.vehicle != row.vehicle]
            assert untouched == [r for r in plan.rows if r.vehicle != row.vehicle]


def test_forty_visits_are_answered_quickly() -> None:
    """Loosely bounded, so that only a change of method fails here; see the benchmark."""
    from time import process_time

    from tests.bays.planner.test_dispatch import crowded

    problem = crowded(40)
    plan = planned(problem)
    begun = process_time()
    where(problem, plan, plan.rows[20].key, window=DAY)
    assert process_time() - begun < 0.5
