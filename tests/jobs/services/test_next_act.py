"""The one thing to do next, which follows from state and edition alone."""

from __future__ import annotations

import pytest

from jobs.models import ScanCode
from jobs.selectors.next_act import next_act
from jobs.selectors.progress import acts_of
from jobs.selectors.visits import open_visits, visit_detail
from jobs.selectors.work import work_of
from jobs.services import answers, calibrations, scans, visits
from jobs.services.calibrations import give_up
from jobs.services.overrides import override_guard
from jobs.services.sign_off import sign_off
from shopcal.errors import NotFound
from tests.jobs.services.at_work import ACROSS, CHECKED, UNITS, Job

pytestmark = pytest.mark.django_db


def now(job: Job) -> tuple[str, str]:
    act = next_act(job.visit, job.technician)
    return act.kind.value, act.name


def test_the_acts_lead_from_check_in_to_hand_over_without_a_gap(job: Job) -> None:
    """Doing only what the next act asks brings the job to its end."""
    seen = []
    for _ in range(80):
        act = next_act(job.visit, job.technician)
        assert act == next_act(job.visit, job.technician)
        seen.append(act.kind.value)
        if act.kind == "hand_over":
            break
        assert act.allowed
        do(job, act)
    assert list(dict.fromkeys(seen)) == [
        "check_in",
        "pre_scan",
        "begin",
        "precondition",
        "use_equipment",
        "worksheet_input",
        "set_out",
        "before_run",
        "run",
        "during_run",
        "outcome",
        "after_check",
        "verify",
        "post_scan",
        "compare",
        "sign_off",
        "hand_over",
    ]
    assert seen.count("precondition") == 8
    assert seen.count("worksheet_input") == 7
    act = next_act(job.visit, job.technician)
    assert not act.allowed
    assert next_act(job.visit, job.writer).allowed
    assert [block.guard for block in act.blocked] == ["record_issued"]
    assert {p.state for p in acts_of(job.visit)[:-1]} == {"done"}


def do(job: Job, act) -> None:
    by, calibration = job.technician, job.calibration
    simple = {
        "check_in": job.check_in,
        "pre_scan": job.pre_scan,
        "begin": job.prepare,
        "set_out": job.set_out,
        "run": job.start,
        "outcome": job.passes,
        "verify": job.verify,
        "post_scan": job.post_scan,
        "compare": lambda: scans.confirm_comparison(by=by, visit=job.visit),
        "sign_off": lambda: sign_off(by=by, visit=job.visit),
    }
    if act.kind in simple:
        simple[act.kind]()
    elif act.kind == "precondition":
        yes = None if act.unit else True
        job.answer(act.name, yes=yes, typed="12.4" if act.unit else "")
    elif act.kind == "use_equipment":
        job.use(act.choices[0].value)
    elif act.kind == "worksheet_input":
        job.read(act.name, {**ACROSS, **CHECKED}[act.name])
    else:
        service = {
            "before_run": answers.answer_before_run,
            "during_run": answers.answer_during_run,
            "after_check": answers.answer_after_check,
        }[act.kind]
        service(by=by, calibration=calibration, name=act.name, yes=True)


def test_a_precondition_tells_unit_limits_and_how_many_are_done(job: Job) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    for precondition in job.content.preconditions[:5]:
        job.answer(precondition.name, yes=True)
    act = next_act(job.visit, job.technician)
    assert (act.name, act.unit, act.limits) == ("battery", "V", "between 11.8 V and 15 V")
    assert (act.done, act.of, act.number) == (5, 8, 6)
    assert act.caution.startswith("Support the battery")
    job.answer("battery", typed="11.5")
    assert now(job) == ("precondition", "area_lit_and_empty")
    job.answer("area_lit_and_empty", yes=True)
    job.answer("mats_clean", yes=True)
    act = next_act(job.visit, job.technician)
    assert act.name == "battery"
    assert "11.5 V" in act.hint
    assert [(b.guard, b.who) for b in act.blocked] == [("preconditions", "a manager")]


def test_a_blocking_code_asks_for_another_scan_before_anything_is_set_out(job: Job) -> None:
    job.check_in()
    job.pre_scan("C1A21")
    assert now(job) == ("begin", "")
    job.prepare()
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.title) == ("pre_scan", "Scan again")
    assert "C1A21" in act.blocked[0].says
    override_guard(
        by=job.manager, calibration=job.calibration, guard="blocking_codes", reason="old fault"
    )
    assert now(job)[0] == "precondition"


def test_set_out_gives_the_marks_in_words_and_a_failed_check_what_to_measure_again(
    job: Job,
) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    job.use_all()
    job.read_all(ACROSS)
    act = next_act(job.visit, job.technician)
    assert act.says[1] == "Mark 17 cm outside the tread edge at all four corners."
    job.set_out()
    job.read_all({**CHECKED, "left_gap_front": "19.5 cm"})
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.title) == ("recheck", "Left mat parallel to the vehicle")
    assert [c.value for c in act.choices] == ["left_gap_front", "left_gap_rear"]
    assert [b.who for b in act.blocked] == ["nobody"]
    job.read("left_gap_front", "17.2 cm")
    assert now(job) == ("before_run", "cautions_heeded")


def test_an_overdue_unit_is_shown_with_who_may_set_it_aside(job: Job) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    job.use_all()
    mats = job.unit("mats-a")
    mats.upkeep_done.all().delete()
    act = next_act(job.visit, job.technician)
    assert act.kind == "use_equipment"
    assert [(b.guard, b.who) for b in act.blocked] == [("equipment_overdue", "a manager")]
    assert "Mat set A" in act.blocked[0].says


def test_after_a_failed_after_check_the_result_is_to_be_rejected(job: Job) -> None:
    job.until_passed()
    job.after(failing="seams")
    assert now(job)[0] == "reject"
    calibrations.reject_after_checks(
        by=job.technician, calibration=job.calibration, cause="camera dirty or damaged"
    )
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.hint) == ("attempt_again", "camera dirty or damaged")
    give_up(by=job.technician, calibration=job.calibration, dealt_with="towed, customer told")
    assert now(job)[0] == "post_scan"


def test_codes_left_in_the_post_scan_are_explained_one_by_one(job: Job) -> None:
    job.until_verified()
    job.post_scan("B1234\nC2001")
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.done, act.of) == ("compare", 0, 3)
    code = ScanCode.objects.get(pk=act.name)
    scans.explain_code(by=job.technician, code=code, why="known fault")
    assert next_act(job.visit, job.technician).done == 1


def test_a_visit_on_hold_asks_whether_work_can_go_on(job: Job) -> None:
    job.check_in()
    job.pre_scan()
    visits.hold(by=job.technician, visit=job.visit, reason="bracket is bent")
    act = next_act(job.visit, job.technician)
    assert (act.kind, act.hint) == ("resume", "bracket is bent")


def test_a_cancelled_visit_asks_nothing(job: Job) -> None:
    visits.cancel(by=job.writer, visit=job.visit, reason="customer called")
    assert now(job)[0] == "nothing"


def test_work_of_a_technician_is_what_is_being_done_then_what_the_plan_brings(job: Job) -> None:
    person = job.calibration.step.technician
    at = job.calibration.step.starts_at
    work = work_of(person, at)
    assert not work.now
    assert [item.visit.pk for item in work.next] == [job.visit_id]
    job.check_in()
    job.pre_scan()
    job.prepare()
    work = work_of(job.calibration.step.technician, at)
    assert [item.visit.pk for item in work.now] == [job.visit_id]
    assert work.now[0].steps[0].kind == "calibration"


def test_a_visit_is_read_whole_in_a_fixed_number_of_queries(
    job: Job, django_assert_max_num_queries
) -> None:
    job.until_verified()
    with django_assert_max_num_queries(14):
        visit = visit_detail(job.writer.shop_id, job.visit_id)
        for calibration in visit.calibrations.all():
            for attempt in calibration.attempts.all():
                assert len(attempt.answers.all()) == 16
                assert [u.unit.type.code for u in attempt.units.all()]
                assert len(attempt.readings.all()) == 7
        assert len(visit.scans.all()) == 1
        assert len(visit.steps.all()) == 3
    assert [v.pk for v in open_visits(job.writer.shop_id)] == [job.visit_id]
    assert len(UNITS) == 4


def test_another_shops_visit_is_not_found(job: Job, other_shop) -> None:
    with pytest.raises(NotFound):
        visit_detail(other_shop.pk, job.visit_id)
    assert not open_visits(other_shop.pk)
