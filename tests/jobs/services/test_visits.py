"""Moves of a visit: guards in words, who may, who was quicker, and what becomes free."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from bays.models import Hold
from jobs.models import Step, Visit
from jobs.services import calibrations, visits
from jobs.services.overrides import override_guard
from jobs.services.sign_off import sign_off
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from shopcal.history.record import record_event
from tests.conftest import Person
from tests.jobs.services.at_work import Job

pytestmark = pytest.mark.django_db

EVERY_MOVE = {
    "check_in": {},
    "hold": {"reason": "no parts"},
    "resume": {},
    "mark_ready": {},
    "reopen": {"reason": "missed a clip"},
    "release": {},
    "cancel": {"reason": "called off"},
    "change_details": {"notes": "x"},
    "confirm_systems": {},
}


def holds(job: Job) -> int:
    steps = Step.objects.filter(visit_id=job.visit_id).values_list("pk", flat=True)
    return Hold.objects.filter(step_id__in=list(steps), ends_at__gt=timezone.now()).count()


@pytest.mark.parametrize("name", [*EVERY_MOVE, "sign_off"])
def test_another_shops_visit_is_not_there(job: Job, other_manager: Person, name: str) -> None:
    service = sign_off if name == "sign_off" else getattr(visits, name)
    with pytest.raises(NotFound) as refused:
        service(by=other_manager.actor, visit=job.visit, **EVERY_MOVE.get(name, {}))
    assert refused.value.code == "no_visit"


@pytest.mark.parametrize("name", ["release", "cancel", "change_details"])
def test_a_technician_may_not_do_the_desks_part(job: Job, name: str) -> None:
    with pytest.raises(NotAllowed):
        getattr(visits, name)(by=job.technician, visit=job.visit, **EVERY_MOVE[name])


@pytest.mark.parametrize("service", [visits.mark_ready, sign_off])
def test_the_desk_signs_nothing_off(job: Job, service) -> None:
    with pytest.raises(NotAllowed):
        service(by=job.writer, visit=job.visit)


@pytest.mark.parametrize("name", list(EVERY_MOVE))
def test_an_old_version_is_refused_with_what_changed_meanwhile(job: Job, name: str) -> None:
    seen = job.visit.version
    visits.change_details(by=job.writer, visit=job.visit, notes="gate code 4411")
    with pytest.raises(Stale) as refused:
        getattr(visits, name)(by=job.manager, visit=job.visit, version=seen, **EVERY_MOVE[name])
    (change,) = refused.value.facts["changes"]
    assert (change["kind"], change["by"]) == ("visit.changed", "Sela Wren")
    assert change["before"] == {"notes": ""}
    assert change["after"]["notes"] == "gate code 4411"
    assert "Sela Wren" in refused.value.title


def test_a_move_the_table_does_not_know_says_what_is_possible(job: Job) -> None:
    with pytest.raises(Conflict) as refused:
        visits.release(by=job.writer, visit=job.visit)
    assert refused.value.code == "move_refused"
    assert "from here: check in, cancel" in refused.value.title
    assert refused.value.facts["unmet"] == []


def test_check_in_with_the_vin_in_doubt_needs_the_plate(job: Job) -> None:
    Visit.objects.update(vin_confirmed=False)
    with pytest.raises(Conflict) as refused:
        job.check_in()
    (unmet,) = refused.value.facts["unmet"]
    assert (unmet["guard"], unmet["can_override"]) == ("vehicle_identified", True)
    assert unmet["right"]
    with pytest.raises(Invalid) as other:
        visits.check_in(by=job.writer, visit=job.visit, vin_from_plate="1G4AH59H45G118341")
    assert other.value.errors[0].path == "vin_from_plate"
    visits.check_in(by=job.writer, visit=job.visit, vin_from_plate=job.visit.vehicle.vin.lower())
    assert job.visit.vin_confirmed


def test_work_does_not_begin_before_systems_in_doubt_are_answered(job: Job) -> None:
    Visit.objects.update(systems_to_confirm=["surround_view", "night_view"])
    job.check_in()
    with pytest.raises(Conflict) as refused:
        job.pre_scan()
    assert [u["guard"] for u in refused.value.facts["unmet"]] == ["systems_confirmed"]
    with pytest.raises(Invalid) as wrong:
        visits.confirm_systems(
            by=job.technician, visit=job.visit, has=["roof_rack"], has_not=["roof_rack"]
        )
    assert {e.path for e in wrong.value.errors} == {"has", "has_not"}
    visits.confirm_systems(by=job.technician, visit=job.visit, has=["night_view"])
    assert "night_view" in job.visit.vehicle.systems
    visits.confirm_systems(by=job.technician, visit=job.visit, has_not=["surround_view"])
    assert job.calibration.state == "cancelled"
    assert job.calibration.step.state == Step.State.CANCELLED
    job.pre_scan()
    assert job.visit.state == "in_work"


def test_a_manager_lets_work_begin_with_a_system_in_doubt(job: Job) -> None:
    Visit.objects.update(systems_to_confirm=["night_view"])
    job.check_in()
    override_guard(by=job.manager, visit=job.visit, guard="systems_confirmed", reason="no data")
    job.pre_scan()
    assert job.visit.state == "in_work"


def test_details_that_cannot_be_are_refused_all_at_once_and_change_nothing(job: Job) -> None:
    before = job.visit
    with pytest.raises(Invalid) as refused:
        visits.change_details(
            by=job.writer, visit=job.visit, customer_name=" ", customer_email="here", state="ready"
        )
    paths = {error.path for error in refused.value.errors}
    assert paths == {"customer_name", "customer_email", "state"}
    assert job.visit.version == before.version


def test_cancelling_frees_every_hold_and_calls_steps_and_calibrations_off(job: Job) -> None:
    assert holds(job)
    visits.cancel(by=job.writer, visit=job.visit, reason="customer called")
    assert holds(job) == 0
    assert {step.state for step in job.visit.steps.all()} == {"cancelled"}
    assert job.calibration.state == "cancelled"
    assert job.calibration.cancelled_reason == "customer called"
    assert job.visit.cancelled_reason == "customer called"


def test_cancelling_in_the_middle_of_work_leaves_the_floor_free_from_now_on(
    job: Job, clock
) -> None:
    job.until_set_out()
    clock.shift(timedelta(minutes=7))
    assert holds(job)
    visits.cancel(by=job.writer, visit=job.visit, reason="customer called")
    assert holds(job) == 0
    assert Hold.objects.filter(step_id=job.calibration.step_id).exists()  # up to now it was used


def test_nothing_is_cancelled_or_held_while_a_calibration_runs(job: Job) -> None:
    job.until_running()
    for move in (visits.cancel, visits.hold):
        with pytest.raises(Conflict) as refused:
            move(by=job.manager, visit=job.visit, reason="wait")
        assert [u["guard"] for u in refused.value.facts["unmet"]] == ["nothing_running"]


def test_a_reason_is_asked_for(job: Job) -> None:
    with pytest.raises(Invalid) as refused:
        visits.cancel(by=job.writer, visit=job.visit, reason="  ")
    assert refused.value.errors[0].path == "reason"


def test_a_visit_on_hold_gives_back_what_it_holds_and_goes_on_where_it_was(job: Job, clock) -> None:
    job.until_set_out()
    clock.shift(timedelta(minutes=5))
    visits.hold(by=job.technician, visit=job.visit, reason="camera bracket is bent")
    assert job.calibration.step.state == Step.State.PLANNED
    step = job.calibration.step
    assert not Hold.objects.filter(step_id=step.pk, ends_at__gt=timezone.now()).exists()
    with pytest.raises(Conflict) as refused:
        job.read("reach_front", "245 cm")
    assert refused.value.code == "not_in_work"
    visits.resume(by=job.technician, visit=job.visit)
    assert job.visit.hold_reason == ""
    job.read("reach_front", "245 cm")
    assert job.calibration.state == "set_out"
    assert job.calibration.step.state == Step.State.DOING


def test_reopening_takes_the_signature_back_and_asks_for_a_new_record(job: Job, clock) -> None:
    job.until_verified()
    override_guard(by=job.manager, visit=job.visit, guard="post_scan", reason="tool is broken")
    sign_off(by=job.technician, visit=job.visit)
    record_event(by=job.writer, kind="record.issued", subject="x", visit_id=job.visit_id)
    clock.shift(timedelta(minutes=5))
    visits.reopen(by=job.writer, visit=job.visit, reason="overlay lines look off")
    assert job.visit.signed_off_by == ""
    assert job.visit.ready_at is None
    sign_off(by=job.technician, visit=job.visit)
    with pytest.raises(Conflict) as refused:
        visits.release(by=job.writer, visit=job.visit)
    assert [u["guard"] for u in refused.value.facts["unmet"]] == ["record_issued"]


def test_sign_off_waits_for_verified_calibrations_and_the_post_scan(job: Job) -> None:
    job.until_passed()
    with pytest.raises(Conflict) as refused:
        sign_off(by=job.technician, visit=job.visit)
    guards = {u["guard"] for u in refused.value.facts["unmet"]}
    assert guards == {"calibrations_verified", "post_scan"}
    assert job.visit.signed_off_by == ""


def test_a_calibration_left_failed_keeps_the_visit_until_it_is_dealt_with(job: Job) -> None:
    job.until_running()
    calibrations.record_failed(by=job.technician, calibration=job.calibration, cause="light")
    with pytest.raises(Conflict) as refused:
        visits.mark_ready(by=job.technician, visit=job.visit)
    guards = {u["guard"] for u in refused.value.facts["unmet"]}
    assert guards == {"calibrations_dealt_with", "post_scan"}


def test_every_move_is_in_the_history_with_before_and_after(job: Job) -> None:
    job.check_in()
    event = Event.objects.get(kind="visit.checked_in")
    assert event.before == {"state": "booked"}
    assert event.after["state"] == "checked_in"
    assert event.after["version"] == job.visit.version
    assert (event.subject, event.visit_id) == (f"visit:{job.visit_id}", job.visit_id)
