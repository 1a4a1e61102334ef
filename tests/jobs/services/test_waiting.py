"""Steps that wait for parts, steps that share a set-up, technicians who drive: end to end."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from bays.models import Hold, ResourceKind
from bays.planner.holding import DRIVES_IN
from jobs.models import Proposal, Step, Visit
from jobs.planning.durations import History, history_of
from jobs.services.booking import book_visit
from jobs.services.proposals import accept
from jobs.services.quotes import quote_visit
from jobs.services.replans import repair_plan
from jobs.services.steps import pin_step
from jobs.services.waiting import wait_for, wait_no_more
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.errors import Conflict, Invalid
from shopcal.history.models import Event
from tests.jobs.services.test_booking import asked, at_ten, desk
from tests.jobs.services.test_replans import booked, mats_step

__all__ = ["at_ten", "desk"]

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(desk: Actor) -> Visit:
    return booked(desk, "SB200001")


def test_a_step_that_waits_moves_behind_its_part_and_stays_when_that_is_there(
    desk: Actor, visit: Visit
) -> None:
    step = mats_step(visit)
    assert step.starts_at is not None
    expected = step.starts_at + timedelta(hours=3)
    change = wait_for(by=desk, step=step, waits_for="mirror glass", expected_at=expected)
    assert change.waits  # the promise moves, so that a manager is asked
    accept(by=desk, proposal=Proposal.objects.get(pk=change.proposal_id))
    step.refresh_from_db()
    assert step.starts_at is not None
    assert step.starts_at >= expected
    held = Hold.objects.filter(step_id=step.pk, resource__kind=ResourceKind.PERSON)
    assert {hold.starts_at for hold in held} == {step.starts_at}
    assert repair_plan(by=desk, why="only looking").unchanged
    was = step.starts_at
    assert wait_no_more(by=desk, step=step).unchanged
    step.refresh_from_db()
    assert (step.starts_at, step.not_before, step.waits_for) == (was, None, "")
    kinds = set(Event.objects.values_list("kind", flat=True))
    assert {"step.waits", "step.waits_no_more", "plan.changed"} <= kinds


def test_what_it_waits_for_needs_a_name_and_a_time_to_come(desk: Actor, visit: Visit) -> None:
    with pytest.raises(Invalid) as refused:
        wait_for(by=desk, step=mats_step(visit), waits_for=" ", expected_at=timezone.now())
    assert {fault.path for fault in refused.value.errors} == {"waits_for", "expected_at"}


def test_a_pinned_step_has_to_be_let_go_first(desk: Actor, visit: Visit) -> None:
    step = mats_step(visit)
    assert step.starts_at is not None
    later = step.starts_at + timedelta(hours=1)
    pin_step(by=desk, step=step, pinned=True)
    with pytest.raises(Conflict) as refused:
        wait_for(by=desk, step=step, waits_for="mirror glass", expected_at=later)
    assert refused.value.code == "step_pinned"
    pin_step(by=desk, step=step, pinned=False)
    assert wait_for(by=desk, step=step, waits_for="mirror glass", expected_at=later).changes


def test_what_is_expected_after_the_days_planned_is_refused_and_not_kept(
    desk: Actor, visit: Visit
) -> None:
    step = mats_step(visit)
    far = timezone.now() + timedelta(days=60)
    with pytest.raises(Invalid) as refused:
        wait_for(by=desk, step=step, waits_for="mirror glass", expected_at=far)
    assert "further than is planned" in refused.value.errors[0].says
    step.refresh_from_db()
    assert step.not_before is None


def test_where_technicians_move_vehicles_they_are_held_for_the_move(desk: Actor) -> None:
    Shop.objects.update(technicians_move_vehicles=True)
    offer = quote_visit(by=desk, request=asked("SB200001")).offers[0]
    made = book_visit(by=desk, request=asked("SB200001"), offer_token=offer.token)
    step = Step.objects.get(visit=made, kind="calibration")
    drive = Hold.objects.get(step_id=step.pk, resource__kind=ResourceKind.PERSON, note=DRIVES_IN)
    assert drive.ends_at == step.starts_at
    assert drive.starts_at < drive.ends_at


def test_a_shops_own_history_makes_the_next_visit_longer(desk: Actor, visit: Visit) -> None:
    step = mats_step(visit)
    minutes, begun = step.minutes, timezone.now() - timedelta(days=9)
    Step.objects.filter(pk=step.pk).update(
        state="done", started_at=begun, ended_at=begun + timedelta(minutes=minutes + 40)
    )
    shop = Shop.objects.get()
    assert history_of(shop).planned("calibration", "surround_view_mats", minutes, 5) is None
    code = step.calibration.edition.procedure.code
    took = history_of(shop).took["calibration", code]
    assert list(took) == [minutes + 40]
    told = History(80, {("calibration", code): list(took) * 8}).planned(
        "calibration", code, minutes, 5
    )
    assert told is not None
    assert told.minutes == minutes + 20  # half way: eight steps against as many of the edition
