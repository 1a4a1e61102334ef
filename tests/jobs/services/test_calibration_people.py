"""Who may move a calibration and answer its questions, and from how fresh a view."""

from __future__ import annotations

import pytest

from jobs.services import answers, calibrations
from shopcal.errors import NotAllowed, NotFound, Stale
from tests.conftest import Person
from tests.jobs.services.at_work import EVERY_ANSWER, Job

pytestmark = pytest.mark.django_db

EVERY_MOVE = {
    "prepare": {},
    "mark_set_out": {},
    "start_run": {},
    "record_passed": {},
    "record_failed": {"cause": "light"},
    "stop": {"cause": "light"},
    "verify": {},
    "reject_after_checks": {"cause": "light"},
    "attempt_again": {},
    "give_up": {"dealt_with": "towed"},
    "cancel_calibration": {"reason": "not wanted"},
}


@pytest.mark.parametrize("name", list(EVERY_MOVE))
def test_another_shops_calibration_is_not_there(job: Job, other_manager: Person, name: str) -> None:
    with pytest.raises(NotFound):
        getattr(calibrations, name)(
            by=other_manager.actor, calibration=job.calibration, **EVERY_MOVE[name]
        )


@pytest.mark.parametrize("name", list(EVERY_ANSWER))
def test_another_shops_questions_are_not_there(job: Job, other_manager: Person, name: str) -> None:
    with pytest.raises(NotFound):
        getattr(answers, name)(
            by=other_manager.actor, calibration=job.calibration, **EVERY_ANSWER[name]
        )


@pytest.mark.parametrize("name", [n for n in EVERY_MOVE if n != "cancel_calibration"])
def test_the_desk_does_not_work_on_vehicles(job: Job, name: str) -> None:
    with pytest.raises(NotAllowed):
        getattr(calibrations, name)(by=job.writer, calibration=job.calibration, **EVERY_MOVE[name])


@pytest.mark.parametrize("name", list(EVERY_ANSWER))
def test_the_desk_answers_no_questions_about_the_vehicle(job: Job, name: str) -> None:
    with pytest.raises(NotAllowed):
        getattr(answers, name)(by=job.writer, calibration=job.calibration, **EVERY_ANSWER[name])


def test_a_technician_does_not_call_a_calibration_off(job: Job) -> None:
    with pytest.raises(NotAllowed):
        calibrations.cancel_calibration(by=job.technician, calibration=job.calibration, reason="x")


@pytest.mark.parametrize("name", list(EVERY_MOVE))
def test_an_old_version_is_refused(job: Job, name: str) -> None:
    job.check_in()
    job.pre_scan()
    seen = job.calibration.version
    job.prepare()
    with pytest.raises(Stale) as refused:
        getattr(calibrations, name)(
            by=job.manager, calibration=job.calibration, version=seen, **EVERY_MOVE[name]
        )
    assert [c["kind"] for c in refused.value.facts["changes"]] == ["calibration.begun"]
