"""Answers to the questions of a procedure: when they are taken, of which kind, and how judged."""

from __future__ import annotations

from datetime import timedelta

import pytest

from jobs.models import Answer, Step
from jobs.services import answers, visits
from shopcal.errors import Conflict, Invalid
from shopcal.history.models import Event
from tests.jobs.services.at_work import EVERY_ANSWER, Job

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", list(EVERY_ANSWER))
def test_a_question_that_is_not_asked_is_refused(job: Job, name: str) -> None:
    {
        "answer_precondition": job.until_set_out,
        "answer_before_run": job.until_set_out,
        "answer_during_run": job.until_running,
        "answer_after_check": job.until_passed,
    }[name]()
    with pytest.raises(Invalid) as refused:
        getattr(answers, name)(
            by=job.technician,
            calibration=job.calibration,
            **{**EVERY_ANSWER[name], "name": "moon_phase"},
        )
    assert refused.value.errors[0].path == "name"
    assert refused.value.errors[0].right.startswith("one of ")


@pytest.mark.parametrize("name", list(EVERY_ANSWER))
def test_a_question_is_answered_in_its_time_only(job: Job, name: str) -> None:
    job.check_in()
    if name != "answer_precondition":
        job.prepare()
    with pytest.raises(Conflict) as refused:
        getattr(answers, name)(by=job.technician, calibration=job.calibration, **EVERY_ANSWER[name])
    assert refused.value.code == "not_now"


@pytest.mark.parametrize(
    ("name", "given", "path"),
    [
        ("battery", {"yes": True}, "typed"),
        ("battery", {"typed": ""}, "typed"),
        ("battery", {"typed": "12 mm"}, "typed"),
        ("battery", {"typed": "twelve"}, "typed"),
        ("battery", {"typed": "1" * 61}, "typed"),
        ("wheels_straight", {"typed": "12"}, "yes"),
        ("wheels_straight", {}, "yes"),
    ],
)
def test_an_answer_of_the_wrong_kind_is_refused_beside_its_field(
    job: Job, name: str, given: dict, path: str
) -> None:
    job.check_in()
    job.prepare()
    with pytest.raises(Invalid) as refused:
        answers.answer_precondition(
            by=job.technician, calibration=job.calibration, name=name, **given
        )
    assert refused.value.errors[0].path == path
    assert not Answer.objects.exists()


# Battery between 11.8 V and 15 V (common practice, no source); the scan tool may be 0.05 V out
# and shows tenths, so u = sqrt(0.05²/3 + 0.1²/12) = 0.041 V and 0.067 V are kept from each limit.
@pytest.mark.parametrize(
    ("typed", "met"),
    [("11.7", False), ("11.8", False), ("11.9", True), ("14.9 V", True), ("15", False)],
)
def test_a_quantity_is_judged_with_its_instruments_uncertainty(
    job: Job, typed: str, met: bool
) -> None:
    job.check_in()
    job.prepare()
    job.answer("battery", typed=typed)
    assert Answer.objects.get().met is met


def test_an_answer_given_again_replaces_the_first_and_the_history_keeps_both(job: Job) -> None:
    job.check_in()
    job.prepare()
    job.answer("battery", typed="11.5")
    job.answer("battery", typed="12.4")
    assert Answer.objects.get().value == 12.4
    told = Event.objects.filter(kind="calibration.answered").order_by("seq").last()
    assert (told.before["value"], told.after["value"]) == (11.5, 12.4)


def test_a_paused_step_is_started_again_by_the_next_thing_done(job: Job, clock) -> None:
    job.check_in()
    job.prepare()
    visits.hold(by=job.technician, visit=job.visit, reason="no light")
    clock.shift(timedelta(minutes=30))
    visits.resume(by=job.technician, visit=job.visit)
    job.answer("battery", typed="12.4")
    assert job.calibration.step.state == Step.State.DOING
