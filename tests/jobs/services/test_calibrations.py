"""Moves of a calibration: each refusal with its guards, rework, and what ends a step."""

from __future__ import annotations

from datetime import timedelta

import pytest

from bays.models import Technician, TechnicianSkill
from jobs.models import Attempt, Calibration, Override, Step
from jobs.procedures import load_yaml
from jobs.services import answers, calibrations
from jobs.services.overrides import override_guard
from jobs.services.procedures import publish_edition
from shopcal.errors import Conflict, Invalid
from shopcal.history.models import Event
from tests.faults.small_shop import FOLDER
from tests.jobs.services.at_work import ACROSS, Job

pytestmark = pytest.mark.django_db


def unmet(refused: pytest.ExceptionInfo[Conflict]) -> set[str]:
    assert refused.value.code == "move_refused"
    return {item["guard"] for item in refused.value.facts["unmet"]}


def test_nothing_is_begun_on_a_vehicle_that_is_not_here(job: Job) -> None:
    with pytest.raises(Conflict) as refused:
        job.prepare()
    assert refused.value.code == "not_in_work"
    assert not Attempt.objects.exists()


def test_preparing_moves_the_visit_into_work_and_starts_the_step(job: Job) -> None:
    job.check_in()
    job.prepare()
    assert job.visit.state == "in_work"
    assert job.visit.steps.get(kind="pre_scan").state == Step.State.CANCELLED  # not made in time
    attempt = Attempt.objects.get()
    assert (attempt.number, attempt.technician.code) == (1, "osei")
    assert job.calibration.step.state == Step.State.DOING
    kinds = list(Event.objects.filter(visit_id=job.visit_id).values_list("kind", flat=True))
    assert kinds[-3:] == ["visit.work_started", "step.started", "calibration.begun"]


def test_a_technician_without_the_skill_needs_a_managers_word_for_this_attempt(job: Job) -> None:
    TechnicianSkill.objects.filter(skill__code="surround_view", technician__code="osei").update(
        valid_until="2026-11-24"
    )
    job.check_in()
    with pytest.raises(Conflict) as refused:
        job.prepare()
    assert unmet(refused) == {"technician_qualified"}
    assert job.calibration.step.state == Step.State.PLANNED
    override_guard(
        by=job.manager,
        calibration=job.calibration,
        guard="technician_qualified",
        reason="course on Friday, I stand beside",
        technician=Technician.objects.get(code="osei"),
    )
    job.prepare()
    assert Override.objects.get().attempt == Attempt.objects.get()


def test_setting_out_is_refused_with_everything_that_is_missing_at_once(job: Job) -> None:
    job.check_in()
    job.prepare()
    with pytest.raises(Conflict) as refused:
        job.set_out()
    assert unmet(refused) == {"pre_scan", "preconditions_unanswered", "equipment_missing"}
    says = {u["guard"]: u["says"] for u in refused.value.facts["unmet"]}
    assert "Floor mat set" in says["equipment_missing"]


def test_a_run_needs_every_check_and_confirmation(job: Job) -> None:
    job.until_set_out()
    with pytest.raises(Conflict) as refused:
        job.start()
    assert unmet(refused) == {"checks_open", "confirmations", "area_clear"}
    assert not any(u["can_override"] for u in refused.value.facts["unmet"])


def test_a_failed_check_keeps_it_from_running_whoever_asks(job: Job) -> None:
    job.until_ready_to_run()
    job.read("left_gap_front", "19.5 cm")
    job.confirm()
    with pytest.raises(Conflict) as refused:
        job.start()
    assert unmet(refused) == {"checks_failed"}
    with pytest.raises(Conflict) as never:
        override_guard(
            by=job.manager, calibration=job.calibration, guard="checks_failed", reason="in a hurry"
        )
    assert never.value.code == "never_overridden"


def test_what_was_confirmed_before_a_run_is_void_once_somebody_measures_again(job: Job) -> None:
    job.until_ready_to_run()
    job.read("reach_front", "246 cm")
    with pytest.raises(Conflict) as refused:
        job.start()
    assert unmet(refused) == {"confirmations", "area_clear"}


def test_a_no_to_area_clear_keeps_it_from_running(job: Job) -> None:
    job.until_ready_to_run()
    answers.answer_before_run(
        by=job.technician, calibration=job.calibration, name="area_clear", yes=False
    )
    with pytest.raises(Conflict) as refused:
        job.start()
    assert unmet(refused) == {"area_clear"}


def test_a_pass_needs_what_is_confirmed_during_the_run(job: Job) -> None:
    job.until_running()
    with pytest.raises(Conflict) as refused:
        job.passes()
    assert unmet(refused) == {"during_run"}


def test_failing_and_stopping_need_a_cause(job: Job) -> None:
    job.until_running()
    for service in (calibrations.record_failed, calibrations.stop):
        with pytest.raises(Invalid) as refused:
            service(by=job.technician, calibration=job.calibration, cause=" ")
        assert refused.value.errors[0].path == "cause"


def test_another_attempt_asks_everything_anew_and_the_first_stays(job: Job, clock) -> None:
    job.until_running()
    calibrations.record_failed(
        by=job.technician,
        calibration=job.calibration,
        cause="light or reflections on the mats",
        note="roof window",
    )
    clock.shift(timedelta(minutes=5))
    calibrations.attempt_again(by=job.technician, calibration=job.calibration)
    first, second = Attempt.objects.order_by("number")
    assert (first.outcome, first.cause) == ("failed", "light or reflections on the mats")
    assert first.evaluation["checks"]
    assert second.number == 2
    assert not second.answers.exists()
    with pytest.raises(Conflict) as refused:
        job.set_out()
    assert "preconditions_unanswered" in unmet(refused)
    job.answer_all()
    job.use_all()
    job.read_all(ACROSS)
    job.set_out()
    assert job.calibration.step.state == Step.State.DOING


def test_an_override_of_one_attempt_does_not_hold_for_the_next(job: Job) -> None:
    job.check_in()
    job.pre_scan("C1A21")
    job.prepare()
    override_guard(
        by=job.manager, calibration=job.calibration, guard="blocking_codes", reason="sensor taped"
    )
    job.answer_all()
    job.use_all()
    job.read_all(ACROSS)
    job.set_out()
    job.read_all(dict.fromkeys(["reach_front", "reach_rear"], "245 cm"))
    gaps = ["left_gap_front", "left_gap_rear", "right_gap_front", "right_gap_rear"]
    job.read_all(dict.fromkeys(gaps, "17 cm"))
    job.confirm()
    job.start()
    assert Event.objects.get(kind="calibration.run_started").after["overridden"] == [
        "blocking_codes"
    ]
    calibrations.stop(by=job.technician, calibration=job.calibration, cause="light")
    calibrations.attempt_again(by=job.technician, calibration=job.calibration)
    job.answer_all()
    job.use_all()
    job.read_all(ACROSS)
    job.set_out()
    with pytest.raises(Conflict) as refused:
        job.start()
    assert "blocking_codes" in unmet(refused)


def test_verifying_needs_every_after_check_well_and_ends_the_step(job: Job) -> None:
    job.until_passed()
    with pytest.raises(Conflict) as refused:
        job.verify()
    assert unmet(refused) == {"after_checks_open"}
    job.after(failing="overlay_lines")
    with pytest.raises(Conflict) as refused:
        job.verify()
    assert unmet(refused) == {"after_checks"}
    job.after()
    job.verify()
    assert job.calibration.state == "verified"
    assert job.calibration.step.state == Step.State.DONE


def test_a_result_is_rejected_only_for_an_after_check_that_failed(job: Job) -> None:
    job.until_passed()
    job.after()
    with pytest.raises(Conflict) as refused:
        calibrations.reject_after_checks(
            by=job.technician, calibration=job.calibration, cause="light"
        )
    assert unmet(refused) == {"after_checks_rejected"}
    job.after(failing="seams")
    calibrations.reject_after_checks(
        by=job.technician, calibration=job.calibration, cause="mats wrinkled"
    )
    attempt = Attempt.objects.get()
    assert (attempt.outcome, attempt.cause) == ("failed", "mats wrinkled")


def test_giving_up_ends_the_step_and_another_attempt_takes_it_up_again(job: Job) -> None:
    job.until_running()
    with pytest.raises(Conflict) as refused:
        calibrations.give_up(by=job.technician, calibration=job.calibration, dealt_with="x")
    assert refused.value.code == "not_failed"
    calibrations.stop(by=job.technician, calibration=job.calibration, cause="light")
    calibrations.give_up(
        by=job.technician, calibration=job.calibration, dealt_with="towed, customer told"
    )
    assert job.calibration.step.state == Step.State.DONE
    calibrations.attempt_again(by=job.technician, calibration=job.calibration)
    calibration = job.calibration
    assert (calibration.state, calibration.dealt_with) == ("preparing", "")
    assert calibration.step.state == Step.State.DOING


def test_calling_a_calibration_off_takes_its_step_out_of_the_plan(job: Job) -> None:
    calibrations.cancel_calibration(
        by=job.writer, calibration=job.calibration, reason="customer declines"
    )
    calibration = job.calibration
    assert (calibration.state, calibration.cancelled_reason) == ("cancelled", "customer declines")
    assert calibration.step.state == Step.State.CANCELLED


def test_a_running_calibration_is_not_called_off(job: Job) -> None:
    job.until_running()
    with pytest.raises(Conflict) as refused:
        calibrations.cancel_calibration(by=job.writer, calibration=job.calibration, reason="x")
    assert refused.value.code == "move_refused"


def test_a_prerequisite_of_the_visit_must_be_verified_first(job: Job) -> None:
    alignment = publish_edition(by=job.manager, content=read_demo("wheel_alignment"))
    mats = job.calibration.edition
    needing = publish_edition(
        by=job.manager, content={**mats.content, "needs_first": ["wheel_alignment"]}
    )
    calibration = job.calibration
    calibration.edition = needing
    calibration.save()
    step = Step.objects.get(pk=calibration.step_id)
    step.pk, step.order = None, 90
    step.save()
    first = Calibration.objects.create(
        shop_id=step.shop_id, visit=job.visit, step=step, edition=alignment, system="alignment"
    )
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    job.use_all()
    for state in ("planned", "passed", "cancelled"):
        Calibration.objects.filter(pk=first.pk).update(state=state)
        with pytest.raises(Conflict) as refused:
            job.set_out()
        assert unmet(refused) == {"prerequisites"}
        assert f"({state})" in refused.value.facts["unmet"][0]["says"]
    Calibration.objects.filter(pk=first.pk).update(state="verified")
    job.set_out()


def read_demo(code: str) -> dict:
    return load_yaml((FOLDER / "procedures" / f"{code}.yaml").read_text())
