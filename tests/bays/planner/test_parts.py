"""A re-plan accepted in part: what must go together, and that every part of it is a plan."""

from __future__ import annotations

from itertools import combinations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bays.planner import (
    Disruption,
    Plan,
    Problem,
    Replan,
    TechnicianOut,
    UnitOut,
    Urgent,
    Window,
    ZoneClosed,
    dispatch,
    replan,
    verify,
)
from bays.planner.parts import Parts, parts
from tests.bays.planner.shop import DAY, at, camera, scan, shop, shops, surround, vehicle


def taken_apart(problem: Problem, event: Disruption, now: int) -> Parts:
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    answer = replan(problem, plan, now, event)
    assert isinstance(answer, Replan), answer
    return parts(answer, plan)


SHOP = shop(
    vehicle("a", scan(), camera(minutes=90), scan("last"), due=at(12)),
    vehicle("b", scan(), surround(), due=at(14)),
    vehicle("c", camera(), release=at(13), due=at(17)),
)


def test_what_cannot_stay_is_required_and_says_why() -> None:
    apart = taken_apart(SHOP, UnitOut("mat-1", Window(at(8), at(11))), at(8))
    (moved,) = [part for part in apart.parts if "b" in part.vehicles]
    assert moved.required
    assert "cannot stay as it was" in moved.says
    assert apart.plan(()) == apart.plan({moved.number})


def test_no_change_has_no_parts() -> None:
    assert taken_apart(SHOP, ZoneClosed("z3", Window(at(9), DAY)), at(9)).parts == ()


def test_all_parts_together_are_the_whole_replan() -> None:
    apart = taken_apart(SHOP, TechnicianOut("ada", Window(at(8), at(12))), at(8))
    assert apart.parts
    whole = apart.plan({part.number for part in apart.parts})
    assert whole == apart.replan.plan


def test_what_makes_room_for_an_urgent_vehicle_goes_with_it() -> None:
    urgent = Urgent(vehicle("u", camera(minutes=120), due=at(10), weight=9))
    apart = taken_apart(SHOP, urgent, at(8))
    new = next(part for part in apart.parts if "u" in part.vehicles)
    assert new.required
    for number in new.needs:
        assert apart.parts[number].required or number in apart.closed(())


EVENTS = (
    TechnicianOut("ada", Window(at(9), at(13))),
    TechnicianOut("bram", Window(at(8), DAY)),
    UnitOut("mat-1", Window(at(9), at(12))),
    UnitOut("frame-1", Window(at(8), DAY)),
    ZoneClosed("z1", Window(at(9), at(12))),
    Urgent(vehicle("u", scan(), camera(minutes=60), due=at(11), weight=9)),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(problem=shops(), event=st.sampled_from(EVENTS))
def test_every_union_of_parts_passes_the_verifier(problem: Problem, event: Disruption) -> None:
    plan = dispatch(problem)
    if not isinstance(plan, Plan) or any(v.id == "u" for v in problem.vehicles):
        return
    answer = replan(problem, plan, at(9), event)
    if not isinstance(answer, Replan):
        return
    apart = parts(answer, plan)
    numbers = [part.number for part in apart.parts][:5]
    for size in range(len(numbers) + 1):
        for chosen in combinations(numbers, size):
            assert verify(answer.problem, apart.plan(chosen)) == []
            assert apart.closed(apart.closed(chosen)) == apart.closed(chosen)
