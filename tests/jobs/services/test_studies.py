"""Questions of the planner: asked, worked out in the background, stopped, out of date."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from bays.planner.trials import Budget
from jobs import tasks
from jobs.models import Step, Study, Visit
from jobs.planning import study_answers
from jobs.planning.demand import minutes_taken, past_demand
from jobs.selectors.studies import help_for, is_stale, plan_mark
from jobs.services.studies import MOST_OPEN, ask_what_helps, ask_what_if, stop_study
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Shop
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound
from shopcal.history.models import Event
from shopcal.outbox import drain
from tests.jobs.services.at_work import Job

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _short(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = Budget(seconds=0.02, seeds=(1, 2))
    monkeypatch.setattr(study_answers, "HELP_BUDGET", quick)
    monkeypatch.setattr(study_answers, "WHAT_IF_BUDGET", quick)


def visit_of(job: Job) -> Visit:
    return Visit.objects.get(pk=job.visit_id)


def came_last_week(job: Job) -> Visit:
    """The visit as if it had come, and been done late, a week ago."""
    visit = visit_of(job)
    week = timedelta(days=7)
    for step in visit.steps.all():
        step.started_at, step.ended_at = step.starts_at - week, step.ends_at - week
        step.state = Step.State.DONE
        step.save()
    visit.arrives_at, visit.promised_at = visit.arrives_at - week, visit.promised_at - week
    visit.state = "released"
    visit.save()
    return visit


def test_what_would_help_is_answered_in_the_background_and_kept(job: Job) -> None:
    asked = ask_what_helps(by=job.writer, visit=visit_of(job))
    assert (asked.state, asked.asks) == (
        "waiting",
        f"What would help RO {visit_of(job).ro_number}?",
    )
    drain()
    asked.refresh_from_db()
    assert asked.state == "done"
    assert asked.says
    assert asked.done == asked.of > 1
    assert asked.answer["in_force"]["minutes_late"] == 0
    assert {"helps", "helps_not", "noise_minutes"} <= asked.answer.keys()
    kinds = list(Event.objects.filter(subject=f"study:{asked.pk}").values_list("kind", flat=True))
    assert kinds == ["question.asked", "question.answered"]


def test_nothing_in_the_plan_is_changed_by_asking(job: Job) -> None:
    before = plan_mark(job.writer.shop_id)
    ask_what_helps(by=job.writer, visit=visit_of(job))
    drain()
    assert plan_mark(job.writer.shop_id) == before


def test_asked_twice_about_one_plan_is_one_question(job: Job) -> None:
    first = ask_what_helps(by=job.writer, visit=visit_of(job))
    assert ask_what_helps(by=job.manager, visit=visit_of(job)) == first
    drain()
    assert ask_what_helps(by=job.manager, visit=visit_of(job)) == first


def test_an_answer_is_out_of_date_once_the_plan_moves_on(job: Job) -> None:
    first = ask_what_helps(by=job.writer, visit=visit_of(job))
    assert not is_stale(first, plan_mark(first.shop_id))
    step = visit_of(job).steps.first()
    step.ends_at += timedelta(minutes=5)
    step.save()
    assert is_stale(first, plan_mark(first.shop_id))
    assert ask_what_helps(by=job.writer, visit=visit_of(job)) != first


def test_a_visit_without_a_step_left_cannot_be_helped(job: Job) -> None:
    with pytest.raises(Conflict) as refused:
        ask_what_helps(by=job.writer, visit=came_last_week(job))
    assert refused.value.code == "not_planned"


def test_a_visit_that_left_the_plan_meanwhile_is_told_in_words(job: Job) -> None:
    asked = ask_what_helps(by=job.writer, visit=visit_of(job))
    came_last_week(job)
    drain()
    asked.refresh_from_db()
    assert asked.state == "failed"
    assert "no longer in the plan" in asked.says


def test_a_stopped_question_is_never_answered_and_forgotten_on_the_page(job: Job) -> None:
    asked = ask_what_helps(by=job.writer, visit=visit_of(job))
    stop_study(by=job.manager, study=asked)
    drain()
    asked.refresh_from_db()
    assert asked.state == "stopped"
    assert asked.answer is None
    assert help_for(asked.shop_id, job.visit_id) is None
    with pytest.raises(Conflict) as refused:
        stop_study(by=job.manager, study=asked)
    assert refused.value.code == "study_over"


def test_stopping_ends_the_work_between_two_plans(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = ask_what_helps(by=job.writer, visit=visit_of(job))
    heard: list[int] = []
    real = tasks.tell_progress

    def stopped_after_one(*, study_id: int, done: int, of: int) -> bool:
        heard.append(done)
        if done == 1:
            stop_study(by=job.manager, study=Study.objects.get(pk=study_id))
        return real(study_id=study_id, done=done, of=of)

    monkeypatch.setattr(tasks, "tell_progress", stopped_after_one)
    drain()
    asked.refresh_from_db()
    assert (asked.state, heard) == ("stopped", [0, 1])


def test_only_so_many_questions_wait_at_a_time(job: Job) -> None:
    for _ in range(MOST_OPEN):
        ask_what_if(by=job.manager, question={"change": "add_unit:mat_set"})
    with pytest.raises(Conflict) as refused:
        ask_what_if(by=job.manager, question={"change": "add_unit:mat_set"})
    assert refused.value.code == "too_many_studies"


def test_who_may_ask_what(job: Job, other_shop: Shop) -> None:
    with pytest.raises(NotAllowed):
        ask_what_helps(by=job.technician, visit=visit_of(job))
    with pytest.raises(NotAllowed):
        ask_what_if(by=job.writer, question={"change": "add_unit:mat_set"})
    stranger = Actor(other_shop.pk, Role.MANAGER, "Odo")
    with pytest.raises(NotFound):
        ask_what_helps(by=stranger, visit=visit_of(job))
    asked = ask_what_if(by=job.manager, question={"change": "add_unit:mat_set"})
    with pytest.raises(NotFound):
        stop_study(by=stranger, study=asked)
    with pytest.raises(NotAllowed):
        stop_study(by=job.writer, study=asked)


@pytest.mark.parametrize(
    "question",
    [
        {},
        {"change": "add_unit:lathe"},
        {"change": "hours"},
        {"change": "hours", "later_minutes": 1000},
    ],
)
def test_nonsense_is_refused_in_words(job: Job, question: dict[str, object]) -> None:
    with pytest.raises(Invalid) as refused:
        ask_what_if(by=job.manager, question=question)
    assert refused.value.errors


def test_what_if_plans_the_visits_that_came_again(job: Job) -> None:
    visit = came_last_week(job)
    asked = ask_what_if(by=job.manager, question={"change": "add_unit:mat_set"})
    drain()
    asked.refresh_from_db()
    assert asked.state == "done", asked.says
    names = [shop["name"] for shop in asked.answer["shops"]]
    assert names == ["as it was", "one more floor mat set", "two more floor mat set"]
    assert asked.answer["visits"] == 1
    assert asked.answer["shops"][0]["kept"][1] == 1
    assert visit.ro_number not in asked.says


def test_without_visits_there_is_nothing_to_tell(job: Job) -> None:
    asked = ask_what_if(by=job.manager, question={"change": "add_unit:mat_set"})
    drain()
    asked.refresh_from_db()
    assert asked.state == "failed"
    assert "No vehicle came" in asked.says


def test_the_month_holds_what_was_booked_promised_and_taken(job: Job) -> None:
    visit = came_last_week(job)
    demand = past_demand(visit.shop, timezone.now())
    vehicle = demand.month.problem.vehicles[0]
    assert vehicle.label == visit.ro_number
    assert len(vehicle.operations) == visit.steps.count()
    assert demand.month.problem.moment(vehicle.due) == visit.promised_at
    assert demand.first_on.weekday() == 0
    calibration = next(o for o in vehicle.operations if o.kind == "calibration")
    assert "mat_set" in calibration.equipment
    assert calibration.placements


def test_a_step_lasts_as_long_as_it_took_unless_it_was_left_lying() -> None:
    begun = timezone.now()
    step = Step(minutes=60, started_at=begun, ended_at=begun + timedelta(minutes=72))
    assert minutes_taken(step) == 75
    step.ended_at = begun + timedelta(hours=20)
    assert minutes_taken(step) == 60
    step.ended_at = None
    assert minutes_taken(step) == 60
