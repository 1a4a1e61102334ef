"""Repairs when the day breaks."""

from __future__ import annotations

from dataclasses import replace

from bays.planner import (
    Disruption,
    ModelError,
    NotProved,
    Plan,
    Problem,
    Replan,
    RunsLong,
    TechnicianOut,
    UnitOut,
    Urgent,
    Window,
    ZoneClosed,
    dispatch,
    replan,
    verify,
)

from .shop import DAY, at, camera, scan, shop, surround, vehicle

NOW = at(9)
DAY_PLAN = shop(
    vehicle("a", scan(), camera(minutes=90), scan("last"), due=at(12)),
    vehicle("b", scan(), surround(), due=at(14)),
    vehicle("c", camera(), release=at(13), due=at(17)),
)


def in_force(problem: Problem = DAY_PLAN) -> Plan:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    return plan


def repaired(event: Disruption | None, now: int = NOW, problem: Problem = DAY_PLAN) -> Replan:
    answer = replan(problem, in_force(problem), now, event)
    assert isinstance(answer, Replan), answer
    assert verify(answer.problem, answer.plan) == []
    return answer


def changed(answer: Replan) -> set[tuple[str, str]]:
    return {(change.vehicle, change.operation) for change in answer.changes}


def test_nothing_wrong_changes_nothing() -> None:
    assert repaired(None).changes == ()


def test_a_disruption_that_touches_nothing_changes_nothing() -> None:
    assert repaired(ZoneClosed("z3", Window(NOW, DAY))).changes == ()


def test_a_technician_out_is_replaced_and_words_say_by_whom() -> None:
    row = next(row for row in in_force().rows if row.key == ("c", "camera"))
    answer = repaired(TechnicianOut(row.technician, Window(at(12), DAY)))
    assert changed(answer) == {("c", "camera")}
    (change,) = answer.changes
    assert change.after is not None
    assert change.after.technician != row.technician
    assert change.after.start == row.start
    assert " instead of " in change.says


def test_a_unit_out_is_swapped_for_another_of_its_type() -> None:
    row = next(row for row in in_force().rows if row.key == ("c", "camera"))
    answer = repaired(UnitOut(row.units[0], Window(at(12), DAY)))
    (change,) = answer.changes
    assert change.after is not None
    assert change.after.units != row.units
    assert (change.after.start, change.after.technician) == (row.start, row.technician)


def test_the_only_unit_out_moves_the_promise_and_says_so() -> None:
    answer = repaired(UnitOut("mat-1", Window(NOW, DAY)))
    (move,) = answer.promise_moves
    assert move.vehicle == "b"
    assert move.finish > DAY
    assert "RO b is done at Tue 3 Mar 09:00" in move.says
    assert {"a", "c"}.isdisjoint(vehicle for vehicle, _ in changed(answer))


def test_what_has_started_stays_with_whoever_does_it() -> None:
    started = [row for row in in_force().rows if row.start < NOW]
    answer = repaired(ZoneClosed("z1", Window(NOW, DAY)))
    kept = {row.key: replace(row, park_after=False) for row in answer.plan.rows}
    assert started
    assert all(kept[row.key] == replace(row, park_after=False) for row in started)


def test_a_closed_zone_sends_work_to_another_bay() -> None:
    row = next(row for row in in_force().rows if row.key == ("c", "camera"))
    zone = {"bay-1": "z1", "bay-2": "z2"}[row.placement]
    answer = repaired(ZoneClosed(zone, Window(at(12), DAY)))
    (change,) = answer.changes
    assert change.after is not None
    assert change.after.placement != row.placement


def test_an_operation_that_runs_long_pushes_what_follows() -> None:
    answer = repaired(RunsLong("a", "camera", at(10, 47)))
    rows = {row.key: row for row in answer.plan.rows}
    assert rows["a", "camera"].end == at(10, 47)
    assert rows["a", "last"].start == at(10, 50)
    assert ("c", "camera") not in changed(answer)


def test_the_next_step_cannot_have_started_while_the_one_before_runs_on() -> None:
    answer = repaired(RunsLong("b", "scan", at(9, 5)))
    rows = {row.key: row for row in answer.plan.rows}
    assert rows["b", "surround"].start >= at(9, 15)


def test_an_urgent_vehicle_goes_before_those_with_slack() -> None:
    slack = vehicle("slack", surround(minutes=120), due=at(17), release=at(10))
    problem = shop(slack)
    urgent = vehicle("urgent", surround(), release=at(9, 30), due=at(11), weight=8)
    answer = repaired(Urgent(urgent), now=at(9, 20), problem=problem)
    rows = {row.key: row for row in answer.plan.rows}
    assert rows["urgent", "surround"].start == at(9, 40)
    assert rows["slack", "surround"].start >= rows["urgent", "surround"].end
    assert answer.promise_moves == ()
    assert any(change.before is None for change in answer.changes)


def test_what_starts_within_the_freeze_is_not_moved_for_an_urgent_vehicle() -> None:
    soon = vehicle("soon", surround(minutes=120), due=at(17))
    problem = shop(soon)
    urgent = vehicle("urgent", surround(), release=at(8), due=at(9, 30), weight=8)
    answer = repaired(Urgent(urgent), now=at(8), problem=problem)
    assert {key for key in changed(answer) if key[0] == "soon"} == set()


def test_unknown_names_are_model_errors() -> None:
    plan = in_force()
    for event in (
        TechnicianOut("nobody", Window(0, 5)),
        UnitOut("none", Window(0, 5)),
        ZoneClosed("attic", Window(0, 5)),
        RunsLong("a", "none", at(10)),
        Urgent(DAY_PLAN.vehicles[0]),
    ):
        assert isinstance(replan(DAY_PLAN, plan, NOW, event), ModelError)


def test_a_loss_nothing_can_make_good_is_not_answered_with_a_plan() -> None:
    answer = replan(DAY_PLAN, in_force(), NOW, UnitOut("mat-1", Window(NOW, 9 * DAY)))
    assert not isinstance(answer, Replan | Plan | NotProved | ModelError)
    assert "no mat set is available" in answer.binding.says
