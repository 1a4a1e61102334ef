"""The demo procedures: labelled as invented, cautious, and complete enough to work by."""

import re

import pytest

from jobs.procedures import read_folder
from tests.jobs.procedures.test_content import FOLDER

EDITIONS = read_folder(FOLDER)


def test_the_demo_set_covers_the_shop():
    assert {edition.system for edition in EDITIONS} == {
        "front_camera",
        "front_radar",
        "surround_view",
        "rear_corner_radar",
        "rear_camera",
        "steering_angle",
        "wheel_geometry",
    }
    assert len(EDITIONS) >= 8


@pytest.mark.parametrize("edition", EDITIONS, ids=lambda edition: edition.code)
def test_a_demo_procedure_is_invented_and_defers_to_service_information(edition):
    decides = "vehicle maker's current service information decides"
    assert edition.invented
    assert any(decides in caution for caution in edition.cautions)
    assert decides in edition.source.says


@pytest.mark.parametrize("edition", EDITIONS, ids=lambda edition: edition.code)
def test_a_demo_procedure_leads_from_question_to_after_check(edition):
    assert edition.preconditions
    assert edition.run.says
    assert edition.run.passes_when
    assert edition.during_run
    assert edition.after_checks
    assert edition.causes
    assert edition.minutes.total % 5 == 0
    assert all(check.remedy for check in edition.worksheet.checks)
    assert all(entry.plausible for entry in edition.worksheet.inputs)


@pytest.mark.parametrize("edition", EDITIONS, ids=lambda edition: edition.code)
def test_a_voltage_is_not_judged_finer_than_the_scan_tool_reads(edition):
    for precondition in edition.preconditions:
        if precondition.kind == "quantity" and precondition.unit == "V":
            assert precondition.instrument.resolution > 0


@pytest.mark.parametrize("edition", EDITIONS, ids=lambda edition: edition.code)
def test_questions_are_plain_sentences(edition):
    sentences = [q.ask for q in (*edition.preconditions, *edition.during_run)]
    assert not [s for s in sentences if re.search(r"[_{}<>]", s)]
