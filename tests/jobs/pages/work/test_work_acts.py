"""Every act at the vehicle: what its form does, and how it says no without losing a word."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from jobs.models import Answer, Attempt, AttemptUnit, Reading, Scan, ScanCode
from jobs.services import calibrations
from tests.jobs.pages.work.at_vehicle import ACROSS, CHECKED, UNITS, Job, Page, readings

pytestmark = pytest.mark.django_db


def chosen(job: Job) -> dict[str, str]:
    kinds = ("mat_set", "tape_measure", "scan_tool", "battery_support_unit")
    return {
        f"unit-{kind}-0": str(job.unit(code).pk) for kind, code in zip(kinds, UNITS, strict=True)
    }


def test_the_surround_view_job_goes_through_to_ready_without_javascript(
    job: Job, osei: Page
) -> None:
    assert osei.look().title == "Check the vehicle in"
    assert osei.act("check-in").title == "Scan all modules"
    osei.act("scan", kind="pre", codes="Gateway: P0420 pending")
    assert osei.title == "Begin: Surround view, floor mats"
    assert osei.act("begin").title == "Before you start"
    for asked in job.content.preconditions:
        said = {"typed": "12.4"} if asked.kind == "quantity" else {"answer": "yes"}
        osei.act("answer", phase="precondition", question=asked.name, **said)
    assert osei.title == "What you use"
    assert osei.act("units", **chosen(job)).title == "Measure first"
    assert osei.act("readings", **readings(ACROSS)).title == "Set out"
    # (2270 mm - 1930 mm) / 2
    assert "Mark 17 cm outside the tread edge at all four corners." in osei.text
    assert osei.act("set-out").title == "Measure the set-out"
    assert osei.act("readings", **readings(CHECKED)).title == "Start the run"
    osei.act("start-run", confirmed=["cautions_heeded", "area_clear"])
    assert osei.title == "Running"
    ticks = [question.name for question in job.content.during_run]
    assert osei.act("outcome", outcome="passed", confirmed=ticks).title == "After the run"
    for question in job.content.after_checks:
        osei.act("answer", phase="after_check", question=question.name, answer="yes")
    assert osei.title == "Every after-check is well"
    assert osei.act("verify").title == "Scan all modules again"
    assert osei.act("scan", kind="post", none="1").title == "Before and after"
    assert osei.act("compare").title == "Sign the work off"
    assert osei.act("sign-off").title == "Ready to hand over"
    assert job.visit.state == "ready"
    assert job.visit.signed_off_by == "Rosa Osei"


def test_an_act_asked_for_by_htmx_answers_with_the_next_panel_alone(osei: Page) -> None:
    osei.act("check-in", htmx=True)
    assert osei.status == 200
    assert osei.title == "Scan all modules"
    assert "<html" not in osei.text


def test_a_form_posted_without_htmx_is_answered_by_a_redirect(job: Job, osei: Page) -> None:
    answer = osei.client.post(f"/work/{job.visit_id}/check-in/")
    assert (answer.status_code, answer["Location"]) == (302, f"/work/{job.visit_id}/")


def test_a_second_tap_does_nothing_and_shows_what_comes_next(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    osei.act("begin", htmx=True)
    osei.act("begin", htmx=True)
    assert osei.status == 200
    assert "This was done already" in osei.text
    assert Attempt.objects.filter(calibration_id=job.calibration_id).count() == 1


def test_a_line_that_is_no_code_is_named_and_nothing_typed_is_lost(job: Job, osei: Page) -> None:
    job.check_in()
    osei.act("scan", htmx=True, kind="pre", codes="Camera: C1A2B-16 stored\nP0O11")
    assert osei.status == 422
    assert "Line 2: P0O11 has a letter where a digit belongs. P0011" in osei.text
    assert "Camera: C1A2B-16 stored\nP0O11</textarea>" in osei.text
    assert not Scan.objects.filter(visit_id=job.visit_id).exists()


def test_a_scan_with_nothing_in_it_is_refused(job: Job, osei: Page) -> None:
    job.check_in()
    assert osei.act("scan", htmx=True, kind="pre", codes="  ").status == 422
    assert "Type the codes, take a file, or press “No codes found”." in osei.text


def test_no_codes_found_with_codes_typed_is_refused(job: Job, osei: Page) -> None:
    job.check_in()
    assert osei.act("scan", htmx=True, kind="pre", codes="C1A2B", none="1").status == 422
    assert ">C1A2B</textarea>" in osei.text
    assert not Scan.objects.filter(visit_id=job.visit_id).exists()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("scan.csv", "module,code,status\nCamera,C1A2B-16,stored\n"),
        ("scan.json", '{"modules": [{"name": "Camera", "codes": [{"code": "C1A2B-16"}]}]}'),
    ],
)
def test_a_file_is_taken_as_csv_or_as_json(job: Job, osei: Page, name: str, content: str) -> None:
    job.check_in()
    file = SimpleUploadedFile(name, content.encode())
    osei.act("scan", kind="pre", codes="", file=file)
    (code,) = ScanCode.objects.filter(scan__visit_id=job.visit_id)
    assert (code.code, code.failure_type, code.module) == ("C1A2B", "16", "Camera")
    assert Scan.objects.get(visit_id=job.visit_id).entered == name.partition(".")[2]


def test_a_file_that_is_not_text_is_refused_beside_the_file(job: Job, osei: Page) -> None:
    job.check_in()
    file = SimpleUploadedFile("scan.csv", b"\xff\xfe\x00")
    osei.act("scan", htmx=True, kind="pre", codes="", file=file)
    assert osei.status == 422
    assert "The file is not text in UTF-8." in osei.text


def test_a_code_that_forbids_a_run_is_shown_as_such_and_a_rescan_clears_it(
    job: Job, osei: Page
) -> None:
    job.check_in()
    job.pre_scan("Camera: C1A2B-16 stored")
    job.prepare()
    osei.look()
    assert osei.title == "Clear the codes and scan again"
    assert "forbids a run" in osei.text
    assert osei.act("scan", kind="pre", none="1").title == "Before you start"


def test_no_to_a_precondition_says_what_to_do_and_is_asked_until_it_is_yes(
    job: Job, osei: Page
) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    osei.act("answer", phase="precondition", question="wheels_straight", answer="no")
    assert "Answered no" in osei.text
    assert "Put it right on the vehicle, then answer again." in osei.text
    assert "Are the front wheels straight ahead?" in osei.text
    osei.act("answer", phase="precondition", question="wheels_straight", answer="yes")
    assert "Answered no" not in osei.text


def test_the_others_can_be_answered_while_one_is_no(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer("wheels_straight", yes=False)
    osei.look("?ask=mats_clean")
    assert "Are the mats clean, flat and undamaged?</p>" in osei.text


def test_a_quantity_shows_its_limits_and_what_was_typed_when_it_is_no_quantity(
    job: Job, osei: Page
) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    osei.act("answer", htmx=True, phase="precondition", question="battery", typed="full")
    assert osei.status == 422
    assert "between 11.8 V and 15 V" in osei.text
    assert 'value="full"' in osei.text
    assert 'aria-invalid="true"' in osei.text


def test_a_quantity_outside_its_limits_is_kept_judged_and_asked_again(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    osei.act("answer", phase="precondition", question="battery", typed="11.2")
    assert "Connect the battery support unit and read again." in osei.text
    assert Answer.objects.get(attempt__calibration_id=job.calibration_id).met is False


def test_a_piece_nobody_chose_is_refused_beside_its_field(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    osei.act("units", htmx=True, **{**chosen(job), "unit-mat_set-0": ""})
    assert osei.status == 422
    assert "None is chosen. Choose the one you use." in osei.text
    used = AttemptUnit.objects.filter(attempt__calibration_id=job.calibration_id)
    assert used.count() == 3


def test_another_unit_takes_the_place_of_the_one_chosen_first(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    job.prepare()
    job.answer_all()
    job.use("tape-1")
    osei.act("units", **{**chosen(job), "unit-tape_measure-0": str(job.unit("tape-3").pk)})
    used = AttemptUnit.objects.filter(attempt__calibration_id=job.calibration_id)
    codes = {row.unit.code for row in used.select_related("unit")}
    assert "tape-3" in codes
    assert "tape-1" not in codes


def test_a_reading_is_judged_as_soon_as_its_field_is_left(job: Job, osei: Page) -> None:
    job.until_set_out()
    said = readings({"left_gap_front": "17.0 cm", "left_gap_rear": "17.3 cm", "reach_front": ""})
    osei.act("reading", htmx=True, stage="check_set_out", **said)
    assert osei.status == 200
    assert "3 mm, limit 13 mm: pass" in osei.text
    assert "waits for right gap at the front tyre" in osei.text
    assert 'id="drawing" hx-swap-oob="true"' in osei.text
    assert "<form" not in osei.text  # the fields stay as they are


def test_a_reading_that_cannot_be_is_refused_and_the_right_ones_are_kept(
    job: Job, osei: Page
) -> None:
    job.until_set_out()
    osei.act("readings", htmx=True, **readings({"left_gap_front": "17.0", "left_gap_rear": "17 m"}))
    assert osei.status == 422
    assert "cannot be right for “left gap at the rear tyre”" in osei.text
    assert 'value="17 m"' in osei.text
    kept = Reading.objects.filter(attempt__calibration_id=job.calibration_id)
    assert kept.filter(name="left_gap_front").exists()
    assert not kept.filter(name="left_gap_rear").exists()


def test_the_same_reading_posted_twice_is_kept_once(job: Job, osei: Page) -> None:
    job.until_set_out()
    for _ in range(2):
        osei.act("readings", **readings({"left_gap_front": "17.0"}))
    rows = Reading.objects.filter(attempt__calibration_id=job.calibration_id, name="left_gap_front")
    assert rows.count() == 1


def test_a_reading_emptied_in_its_field_is_struck_out(job: Job, osei: Page) -> None:
    job.until_set_out()
    job.read("left_gap_front", "17.0 cm")
    osei.act("readings", **readings({"left_gap_front": ""}))
    row = Reading.objects.get(attempt__calibration_id=job.calibration_id, name="left_gap_front")
    assert row.struck_at is not None


def test_what_is_done_can_be_struck_out_or_corrected_before_the_run(job: Job, osei: Page) -> None:
    job.until_set_out()
    osei.look()
    assert "Done so far" in osei.text
    assert "Strike out" in osei.text
    row = Reading.objects.get(attempt__calibration_id=job.calibration_id)
    assert osei.act("strike", reading=str(row.pk)).title == "Measure first"
    row.refresh_from_db()
    assert row.struck_at is not None
    osei.act("answer", phase="precondition", question="wheels_straight", answer="no")
    assert osei.title == "Before you start"


def test_mats_out_of_parallel_keep_the_form_open_and_say_what_to_do(job: Job, osei: Page) -> None:
    job.until_set_out()
    osei.act("readings", **readings({**CHECKED, "left_gap_rear": "19.5 cm"}))
    assert osei.title == "Measure the set-out"
    assert "25 mm, limit 13 mm: fail" in osei.text
    assert "Shift the left mat until front and rear agree." in osei.text


def test_a_run_does_not_start_before_each_thing_is_confirmed(job: Job, osei: Page) -> None:
    job.until_set_out()
    job.read_all(CHECKED)
    osei.act("start-run", htmx=True, confirmed=["cautions_heeded"])
    assert osei.status == 409
    assert "The area is not confirmed clear." in osei.text
    assert "Walk around" in osei.text
    assert job.calibration.state == "set_out"


def test_a_run_does_not_pass_before_what_must_stay_so_is_confirmed(job: Job, osei: Page) -> None:
    job.until_running()
    osei.act("outcome", htmx=True, outcome="passed", confirmed=["area_empty"])
    assert osei.status == 409
    assert "Not confirmed during the run: doors closed, scan tool on." in osei.text
    assert job.calibration.state == "running"


def test_a_failed_run_needs_a_cause(job: Job, osei: Page) -> None:
    job.until_running()
    osei.act("outcome", htmx=True, outcome="failed", note="Third try of the scan tool.")
    assert osei.status == 422
    assert "Pick or write the cause" in osei.text
    assert "Third try of the scan tool.</textarea>" in osei.text
    osei.act("outcome", outcome="failed", cause="battery voltage dropped")
    assert osei.title == "Surround view, floor mats: failed"
    assert "battery voltage dropped" in osei.text


def test_a_written_cause_goes_before_a_picked_one(job: Job, osei: Page) -> None:
    job.until_running()
    osei.act(
        "outcome", outcome="stopped", cause="battery voltage dropped", cause_written="Door opened"
    )
    attempt = Attempt.objects.get(calibration_id=job.calibration_id)
    assert (attempt.outcome, attempt.cause) == ("stopped", "Door opened")


def test_attempting_again_asks_everything_anew(job: Job, osei: Page) -> None:
    job.until_running()
    calibrations.stop(by=job.technician, calibration=job.calibration, cause="Door opened")
    osei.act("begin")
    assert osei.title == "Before you start"
    assert "attempt 2" in osei.text
    assert "1 of 8" in osei.text


def test_leaving_it_undone_needs_words(job: Job, osei: Page) -> None:
    job.until_running()
    calibrations.stop(by=job.technician, calibration=job.calibration, cause="Camera broken")
    osei.act("deal", htmx=True, dealt_with="")
    assert osei.status == 422
    assert "Write how the vehicle leaves and who was told" in osei.text
    osei.act("deal", dealt_with="Towed to the dealer; Ms Castellan told.")
    assert osei.title == "Scan all modules again"


def test_an_after_check_that_fails_is_rejected_with_a_cause(job: Job, osei: Page) -> None:
    job.until_passed()
    osei.act("answer", phase="after_check", question="overlay_lines", answer="no")
    assert osei.title == "It is not right yet"
    osei.act("reject", htmx=True)
    assert osei.status == 422
    osei.act("reject", cause="camera dirty or damaged")
    assert job.calibration.state == "failed"


def test_verifying_before_the_after_checks_is_refused(job: Job, osei: Page) -> None:
    job.until_passed()
    assert osei.act("verify", htmx=True).status == 409
    assert "After-checks without an answer" in osei.text


def test_a_code_that_stays_needs_a_word_and_is_kept_with_it(job: Job, osei: Page) -> None:
    job.until_verified()
    job.post_scan("Gateway: P0420 stored")
    osei.look()
    assert "P0420" in osei.text
    code = ScanCode.objects.get(scan__kind="post", scan__visit_id=job.visit_id)
    osei.act("compare", htmx=True, **{f"explain-{code.pk}": " "})
    assert osei.status == 422
    assert "Write why it is there." in osei.text
    osei.act("compare", **{f"explain-{code.pk}": "Catalyst, customer knows"})
    assert osei.title == "Sign the work off"
    code.refresh_from_db()
    assert code.explanation == "Catalyst, customer knows"


def test_signing_off_before_the_post_scan_is_refused(job: Job, osei: Page) -> None:
    job.until_verified()
    assert osei.act("sign-off", htmx=True).status == 409
    assert "There is no post-scan." in osei.text


def test_a_vehicle_is_put_on_hold_with_a_reason_and_taken_up_again(job: Job, osei: Page) -> None:
    job.check_in()
    job.pre_scan()
    assert osei.act("hold", htmx=True, reason="").status == 422
    osei.act("hold", reason="Waits for a mirror")
    assert osei.title == "On hold"
    assert "Waits for a mirror" in osei.text
    assert osei.act("resume").title == "Begin: Surround view, floor mats"


def test_systems_in_doubt_are_all_answered_before_work_starts(job: Job, osei: Page) -> None:
    job.check_in()
    visit = job.visit
    visit.systems_to_confirm = ["surround_view"]
    visit.save()
    assert osei.look().title == "What does this vehicle have?"
    assert osei.act("systems", htmx=True).status == 422
    osei.act("systems", **{"system-surround_view": "yes"})
    assert osei.title == "Scan all modules"


def test_a_vin_in_doubt_is_read_from_the_vehicle(job: Job, osei: Page) -> None:
    visit = job.visit
    visit.vin_confirmed = False
    visit.save()
    osei.act("check-in", htmx=True, vin_from_plate="5ZZTK4AC0RB104417")
    assert osei.status == 422
    assert 'value="5ZZTK4AC0RB104417"' in osei.text
    assert "it is another vehicle" in osei.text
    osei.act("check-in", vin_from_plate=visit.vehicle.vin)
    assert osei.title == "Scan all modules"
