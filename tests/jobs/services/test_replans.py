"""The day breaks: absence, broken unit, closed floor, work that runs over, work that waits."""

from __future__ import annotations

from datetime import timedelta

import pytest

from bays.models import Absence, EquipmentUnit, Hold, Technician
from bays.services.holds import HoldWanted, take_holds
from jobs.models import Proposal, Step, Visit
from jobs.services.proposals import accept
from jobs.services.replans import (
    repair_plan,
    runs_long,
    technician_out,
    unit_out,
    watch_plan,
    zone_closed,
)
from jobs.services.steps import finish_step, pin_step, start_step
from jobs.services.visits import check_in
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict
from tests.jobs.services.test_booking import WEDNESDAY, at_ten, booked, desk

__all__ = ["at_ten", "desk"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(desk: Actor) -> Visit:
    return booked(desk, "SB200001")


def mats_step(visit: Visit) -> Step:
    return Step.objects.get(visit=visit, kind="calibration")


def test_a_sound_plan_is_left_as_it_is(desk: Actor, visit: Visit) -> None:
    before = list(Hold.objects.order_by("pk").values_list("pk", "starts_at", "ends_at"))
    assert repair_plan(by=desk, why="only looking").unchanged
    assert list(Hold.objects.order_by("pk").values_list("pk", "starts_at", "ends_at")) == before


def test_a_sick_technicians_steps_go_to_others(desk: Actor, visit: Visit) -> None:
    sick = mats_step(visit).technician
    assert sick is not None
    change = technician_out(
        by=desk,
        technician=sick,
        starts_at=WEDNESDAY,
        ends_at=WEDNESDAY + timedelta(hours=13),
        reason="fever",
    )
    assert change.changes
    assert Absence.objects.filter(technician=sick).count() == 1
    for step in Step.objects.filter(visit=visit):
        assert sick.pk not in (step.technician_id, step.second_person_id)
    assert not Hold.objects.filter(resource=sick.resource, starts_at__gte=WEDNESDAY).exists()


def test_a_broken_unit_is_replaced_by_its_twin(desk: Actor, visit: Visit) -> None:
    broken = EquipmentUnit.objects.get(code=mats_step(visit).unit_codes[0])
    change = unit_out(by=desk, unit=broken, reason="torn")
    assert change.changes
    assert broken.code not in mats_step(visit).unit_codes
    assert not Hold.objects.filter(resource=broken.resource).exists()


def test_closed_floor_is_emptied_first_and_then_held(desk: Actor, visit: Visit) -> None:
    placement = mats_step(visit).placement
    assert placement is not None
    code = placement["zones"][0]
    ends_at = WEDNESDAY + timedelta(hours=12)
    zone_closed(by=desk, code=code, starts_at=WEDNESDAY, ends_at=ends_at, reason="oil on the floor")
    holds = Hold.objects.filter(resource__kind="zone", resource__code=code)
    assert [(hold.reason, hold.step_id) for hold in holds] == [("closed", None)]
    moved = mats_step(visit)
    assert moved.starts_at is not None
    assert moved.starts_at >= ends_at or code not in (moved.placement or {})["zones"]


def test_what_nobody_can_do_any_more_is_refused_with_what_binds(desk: Actor, visit: Visit) -> None:
    for technician in Technician.objects.exclude(code="osei"):
        technician.active = False
        technician.save()
    osei = Technician.objects.get(code="osei")
    with pytest.raises(Conflict) as refused:
        technician_out(
            by=desk,
            technician=osei,
            starts_at=WEDNESDAY,
            ends_at=WEDNESDAY + timedelta(days=30),
            reason="away",
        )
    assert refused.value.code == "no_plan"
    assert refused.value.detail
    assert not Absence.objects.exists()  # nothing is half saved


def started(desk: Actor, visit: Visit) -> Step:
    check_in(by=desk, visit=visit)
    return start_step(by=desk, step=Step.objects.get(visit=visit, kind="pre_scan"))


def test_a_step_begun_late_takes_its_resources_from_then_on(
    desk: Actor, visit: Visit, at_ten
) -> None:
    at_ten.shift(timedelta(minutes=7))
    step = started(desk, visit)
    assert step.state == "doing"
    assert step.started_at == WEDNESDAY + timedelta(minutes=7)
    for hold in Hold.objects.filter(step_id=step.pk):
        assert hold.starts_at == step.started_at
        assert hold.ends_at >= step.started_at + timedelta(minutes=15)


def test_a_step_ended_early_gives_people_and_equipment_back(
    desk: Actor, visit: Visit, at_ten
) -> None:
    step = started(desk, visit)
    at_ten.shift(timedelta(minutes=6))
    finish_step(by=desk, step=step)
    ends = set(Hold.objects.filter(step_id=step.pk).values_list("ends_at", flat=True))
    assert ends == {WEDNESDAY + timedelta(minutes=6)}


def test_starting_twice_is_starting_once(desk: Actor, visit: Visit) -> None:
    step = started(desk, visit)
    again = start_step(by=desk, step=step)
    assert again.started_at == step.started_at


def test_nobody_does_two_steps_at_once(desk: Actor, visit: Visit) -> None:
    other = booked(desk, "SB200002")
    step = started(desk, visit)
    waiting = Step.objects.get(visit=other, kind="pre_scan")
    Step.objects.filter(pk=waiting.pk).update(technician=step.technician)
    check_in(by=desk, visit=other)
    with pytest.raises(Conflict) as refused:
        start_step(by=desk, step=waiting)
    assert refused.value.code == "technician_busy"


def test_work_that_runs_over_moves_what_follows(desk: Actor, visit: Visit) -> None:
    step = started(desk, visit)
    before = mats_step(visit).starts_at
    change = runs_long(by=desk, step=step, ends_at=WEDNESDAY + timedelta(minutes=90))
    assert change.changes
    assert change.waits  # a promise moves with it
    assert mats_step(visit).starts_at == before
    accept(by=desk, proposal=Proposal.objects.get(pk=change.proposal_id))
    after = mats_step(visit).starts_at
    assert before is not None
    assert after is not None
    assert after >= WEDNESDAY + timedelta(minutes=90) > before


def test_the_clock_gives_overdue_work_more_time_and_waiting_work_a_new_one(
    desk: Actor, visit: Visit, at_ten
) -> None:
    step = started(desk, visit)
    other = booked(desk, "SB200002")
    at_ten.shift(timedelta(minutes=50))
    now = WEDNESDAY + timedelta(minutes=50)
    assert watch_plan(shop_id=desk.shop_id, now=now)
    asked = Proposal.objects.get(cause__kind="runs_long")
    assert asked.state == "open"
    accept(by=desk, proposal=asked)
    step.refresh_from_db()
    assert step.ends_at is not None
    assert step.ends_at > now
    for waiting in Step.objects.filter(visit__in=[visit, other], state="planned"):
        assert waiting.starts_at is not None
        assert waiting.starts_at >= now
    assert watch_plan(shop_id=desk.shop_id, now=now) == []


def test_a_pinned_step_stays_through_a_replan(desk: Actor, visit: Visit) -> None:
    step = pin_step(by=desk, step=mats_step(visit), pinned=True)
    start_of_pinned = step.starts_at
    other = step.technician
    assert other is not None
    pre_scan = Step.objects.get(visit=visit, kind="pre_scan")
    assert pre_scan.technician is not None
    if pre_scan.technician_id != other.pk:
        technician_out(
            by=desk,
            technician=pre_scan.technician,
            starts_at=WEDNESDAY,
            ends_at=WEDNESDAY + timedelta(hours=3),
            reason="away",
        )
    repair_plan(by=desk, why="again")
    assert mats_step(visit).starts_at == start_of_pinned


def test_a_hold_on_taken_floor_is_refused_by_the_database(desk: Actor, visit: Visit) -> None:
    hold = Hold.objects.filter(resource__kind="zone").select_related("resource").first()
    assert hold is not None
    wanted = HoldWanted(hold.resource.kind, hold.resource.code, hold.starts_at, hold.ends_at)
    with pytest.raises(Conflict) as refused:
        take_holds(by=desk, wanted=[wanted])
    assert refused.value.code == "double_booking"
