"""The practitioner's surround-view job from check-in to hand-over, through services alone."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from bays.models import Hold, UnitUse
from jobs.models import Attempt, Override, ScanCode, Step
from jobs.selectors.next_act import next_act
from jobs.selectors.worksheets import worksheet_results
from jobs.services import scans, visits
from jobs.services.overrides import override_guard
from jobs.services.sign_off import sign_off
from shopcal.errors import Conflict, NotAllowed
from shopcal.history.models import Event
from shopcal.history.record import record_event
from shopcal.history.verify import verify_history
from tests.jobs.services.at_work import ACROSS, CHECKED, Job

pytestmark = pytest.mark.django_db


def unmet(refused: Conflict) -> set[str]:
    return {item["guard"] for item in refused.facts["unmet"]}


def test_the_whole_job_from_check_in_to_handed_over(
    job: Job, clock: time_machine.Traveller
) -> None:
    job.check_in()
    assert job.visit.state == "checked_in"
    job.pre_scan("Surround view: C1A21 stored\nDoor: B1234 history")
    assert job.visit.state == "in_work"
    assert [c.code for c in ScanCode.objects.filter(blocking=True)] == ["C1A21"]
    clock.shift(timedelta(minutes=10))
    job.prepare()
    assert job.calibration.state == "preparing"
    assert job.calibration.step.state == Step.State.DOING
    assert job.calibration.step.technician.name == "R. Osei"

    job.answer_all(battery="11.5 V")
    battery = Attempt.objects.get().answers.get(name="battery")
    assert not battery.met
    assert battery.value == 11.5
    job.use_all()
    job.read_all(ACROSS)
    # 193 cm across the tyres, mats 227 cm apart inside: the marks go 17 cm out (practitioner).
    assert worksheet_results(Attempt.objects.get()).values["mark_offset"].value == 170.0
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.name, act.blocked[0].who) == ("pre_scan", "", "a manager")
    with pytest.raises(Conflict) as refused:
        job.set_out()
    assert unmet(refused.value) == {"preconditions"}
    job.answer("battery", typed="12.4 V")
    clock.shift(timedelta(minutes=20))
    job.set_out()
    job.read_all(CHECKED)
    job.confirm()
    with pytest.raises(Conflict) as refused:
        job.start()
    assert unmet(refused.value) == {"blocking_codes"}
    job.pre_scan("Door: B1234 history")
    assert ScanCode.objects.get(code="C1A21").cleared_by == "Rosa Osei"
    job.start()
    attempt = Attempt.objects.get()
    assert attempt.evaluation["method"]
    assert attempt.evaluation["edition_digest"] == job.calibration.edition.digest
    assert attempt.evaluation["values"]["mark_offset"]["value"] == 170.0
    assert {c["verdict"] for c in attempt.evaluation["checks"].values()} == {"pass"}

    clock.shift(timedelta(minutes=15))
    job.during()
    job.passes()
    job.after()
    job.verify()
    assert job.calibration.step.state == Step.State.DONE
    job.post_scan("Door: B1234 history")
    with pytest.raises(Conflict) as refused:
        sign_off(by=job.technician, visit=job.visit)
    assert unmet(refused.value) == {"post_scan_compared", "codes_explained"}
    stays = ScanCode.objects.get(scan__kind="post")
    scans.explain_code(by=job.technician, code=stays, why="old door switch fault, customer knows")
    scans.confirm_comparison(by=job.technician, visit=job.visit)
    sign_off(by=job.technician, visit=job.visit)
    assert job.visit.state == "ready"
    assert job.visit.signed_off_by == "Rosa Osei"

    with pytest.raises(Conflict) as refused:
        visits.release(by=job.writer, visit=job.visit)
    assert unmet(refused.value) == {"record_issued"}
    record_event(by=job.writer, kind="record.issued", subject="visit", visit_id=job.visit_id)
    visits.release(by=job.writer, visit=job.visit)
    assert job.visit.state == "released"
    assert not Hold.objects.filter(ends_at__gt=timezone.now()).exists()
    assert UnitUse.objects.filter(step_id=job.calibration.step_id).count() == 4
    assert not Override.objects.exists()
    assert not verify_history(job.visit.shop_id).faults
    assert Event.objects.filter(kind="calibration.run_started").count() == 1


def test_only_a_manager_sets_a_precondition_aside_and_it_stays_on_the_attempt(job: Job) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all(battery="11.5 V")
    job.use_all()
    asked = {
        "guard": "preconditions",
        "reason": "support unit holds it",
        "calibration": job.calibration,
    }
    for person in (job.technician, job.writer):
        with pytest.raises(NotAllowed):
            override_guard(by=person, **asked)
    override_guard(by=job.manager, **asked)
    job.set_out()
    kept = Override.objects.get()
    assert kept.attempt == Attempt.objects.get()
    assert "battery" in kept.says
    assert "11.5 V" in kept.says
    assert kept.overridden_by == job.manager.name
