"""Entering scans, what a repeated one clears, and the comparison before against after."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from bays.models import EquipmentUnit
from jobs.models import Scan, ScanCode, Step
from jobs.selectors.scans import comparison_of, latest_post_scan
from jobs.services import calibrations, scans, visits
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound, Stale
from shopcal.history.models import Event
from tests.conftest import Person
from tests.jobs.services.at_work import Job

pytestmark = pytest.mark.django_db


def record(job: Job, kind: str = "pre", **given) -> Scan:
    return scans.record_scan(by=job.technician, visit=job.visit, kind=kind, **given)


@pytest.fixture
def here(job: Job) -> Job:
    job.check_in()
    return job


def test_every_bad_line_is_told_with_its_number_and_nothing_is_entered(here: Job) -> None:
    with pytest.raises(Invalid) as refused:
        record(here, text="C1A21 stored\nC1A2\nP0O11\nB1234")
    assert [error.path for error in refused.value.errors] == ["line 2", "line 3"]
    assert all(error.says and error.right for error in refused.value.errors)
    assert not Scan.objects.exists()
    assert here.visit.state == "checked_in"


@pytest.mark.parametrize(
    "given",
    [
        {},  # nothing at all
        {"text": "  "},
        {"text": "C1A21", "none_found": True},  # two answers
        {"text": "C1A21", "csv": "module,code\nCamera,C1A21"},
        {"text": "# only a remark"},
        {"csv": "module,code\n"},
        {"json": "{"},
    ],
)
def test_a_scan_is_entered_one_way_and_with_content(here: Job, given: dict) -> None:
    with pytest.raises(Invalid) as refused:
        record(here, **given)
    assert refused.value.code == "scan"
    assert refused.value.errors


def test_typed_csv_and_json_give_the_same_codes(here: Job) -> None:
    text = "Camera: C1A21-16 stored"
    csv = "module,code,status\nCamera,C1A21-16,stored\n"
    modules = [{"name": "Camera", "codes": [{"code": "C1A21-16", "status": "stored"}]}]
    for given in ({"text": text}, {"csv": csv}, {"json": json.dumps({"modules": modules})}):
        record(here, **given)
    rows = ScanCode.objects.values_list("module", "code", "failure_type", "status", "blocking")
    assert list(rows) == [("Camera", "C1A21", "16", "stored", True)] * 3
    assert [s.entered for s in Scan.objects.order_by("id")] == ["typed", "csv", "json"]


def test_codes_are_marked_blocking_by_the_patterns_of_the_visits_calibrations(here: Job) -> None:
    record(here, text="U0100\nC1A21\nC2A21\nB1D05\nP0300")
    blocking = set(ScanCode.objects.filter(blocking=True).values_list("code", flat=True))
    assert blocking == {"U0100", "C1A21", "B1D05"}  # U0*, C1A* and B1D* of the edition


def test_the_pre_scan_begins_work_and_ends_its_step(here: Job) -> None:
    record(here, none_found=True)
    assert here.visit.state == "in_work"
    step = here.visit.steps.get(kind="pre_scan")
    assert step.state == Step.State.DONE
    assert Event.objects.get(kind="scan.pre_recorded").after["codes"] == []


def test_a_started_scan_step_is_being_done_until_its_codes_are_entered(here: Job) -> None:
    step = scans.start_scan(by=here.technician, visit=here.visit, kind="pre")
    assert step.state == Step.State.DOING
    record(here, none_found=True)
    step.refresh_from_db()
    assert step.state == Step.State.DONE


def test_a_vehicle_that_is_not_here_is_not_scanned(job: Job) -> None:
    with pytest.raises(Conflict) as refused:
        record(job, none_found=True)
    assert refused.value.code == "not_in_work"
    assert refused.value.detail == "Check the vehicle in first."


def test_codes_gone_from_a_newer_pre_scan_count_as_cleared(here: Job) -> None:
    record(here, text="C1A21\nU0100")
    record(here, text="U0100")
    cleared = ScanCode.objects.filter(cleared_at__isnull=False)
    assert [(c.code, c.cleared_by) for c in cleared] == [("C1A21", "Rosa Osei")]


def test_no_scan_is_entered_while_a_calibration_runs(job: Job) -> None:
    job.until_running()
    with pytest.raises(Conflict) as refused:
        record(job, none_found=True)
    assert refused.value.code == "run_going"


def test_the_first_pre_scan_is_compared_with_the_latest_post_scan(job: Job) -> None:
    job.check_in()
    job.pre_scan("C1A21\nB1234")
    job.pre_scan("B1234")
    job.prepare()
    job.answer_all()
    job.use_all()
    job.post_scan("B1234\nC2001")
    found = comparison_of(job.visit)
    assert [c.code for c in found.cleared] == ["C1A21"]
    assert [c.code for c in found.remaining] == ["B1234"]
    assert [c.code for c in found.new] == ["C2001"]
    # Something is still to be calibrated, so another post-scan will be needed: its step stays.
    assert job.visit.steps.get(kind="post_scan").state == Step.State.PLANNED


def test_a_post_scan_taken_before_the_last_attempt_ended_does_not_count(job: Job, clock) -> None:
    job.until_passed()
    job.post_scan()
    assert latest_post_scan(job.visit) is not None
    assert job.visit.steps.get(kind="post_scan").state == Step.State.DONE
    clock.shift(timedelta(minutes=1))
    job.after(failing="seams")
    calibrations.reject_after_checks(by=job.technician, calibration=job.calibration, cause="light")
    assert latest_post_scan(job.visit) is None
    with pytest.raises(Conflict) as refused:
        scans.confirm_comparison(by=job.technician, visit=job.visit)
    assert refused.value.code == "no_post_scan"


def test_without_a_pre_scan_every_code_left_is_new(job: Job) -> None:
    job.check_in()
    job.post_scan("B1234")
    assert [c.code for c in comparison_of(job.visit).new] == ["B1234"]


def test_only_codes_of_the_post_scan_that_counts_are_explained(here: Job) -> None:
    record(here, text="B1234")
    with pytest.raises(Conflict) as refused:
        scans.explain_code(by=here.technician, code=ScanCode.objects.get(), why="known")
    assert refused.value.code == "not_in_post_scan"


def test_an_explanation_needs_words(here: Job) -> None:
    record(here, "post", text="B1234")
    with pytest.raises(Invalid):
        scans.explain_code(by=here.technician, code=ScanCode.objects.get(), why=" ")
    scans.explain_code(by=here.technician, code=ScanCode.objects.get(), why="known")
    assert not comparison_of(here.visit).unexplained


def test_the_desk_may_enter_a_scan_but_not_confirm_the_comparison(here: Job) -> None:
    scans.record_scan(by=here.writer, visit=here.visit, kind="post", none_found=True)
    with pytest.raises(NotAllowed):
        scans.confirm_comparison(by=here.writer, visit=here.visit)
    scans.confirm_comparison(by=here.technician, visit=here.visit)
    assert latest_post_scan(here.visit).compared_by == "Rosa Osei"


def test_another_shops_rows_are_not_there(here: Job, other_manager: Person) -> None:
    record(here, "post", text="B1234")
    by = other_manager.actor
    with pytest.raises(NotFound):
        scans.record_scan(by=by, visit=here.visit, kind="pre", none_found=True)
    with pytest.raises(NotFound):
        scans.explain_code(by=by, code=ScanCode.objects.get(), why="known")
    with pytest.raises(NotFound):
        scans.confirm_comparison(by=by, visit=here.visit)
    foreign = EquipmentUnit.objects.first()
    foreign.shop_id = other_manager.shop_id
    with pytest.raises(NotFound):
        record(here, none_found=True, tool=foreign)


def test_a_scan_on_an_old_version_is_refused(here: Job) -> None:
    seen = here.visit.version
    visits.change_details(by=here.writer, visit=here.visit, notes="x")
    with pytest.raises(Stale):
        record(here, none_found=True, version=seen)


def test_a_kind_that_is_none_is_refused(here: Job) -> None:
    with pytest.raises(Invalid) as refused:
        record(here, "mid", none_found=True)
    assert refused.value.errors[0].path == "kind"
