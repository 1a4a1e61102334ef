"""The floor-mat set-out, run through the shipped procedure. Common practice, no source.

The mats' inner edges lie 2270 mm apart in the demo procedure (invented); with it the practice's
numbers follow: 193 cm across the rear tyres puts the marks 17 cm outside the tread.
"""

from pathlib import Path

import pytest

import jobs
from jobs.metrology import Verdict, evaluate, fill
from jobs.procedures import ProcedureContent, limits_in_words, read_procedure

FOLDER = Path(jobs.__file__).parent / "demo" / "procedures"
SET_OUT = {
    "across_rear_tyres": "193 cm",
    "reach_front": "245 cm",
    "reach_rear": "246 cm",
    "left_gap_front": "17 cm",
    "left_gap_rear": "17 cm",
    "right_gap_front": "17 cm",
    "right_gap_rear": "17 cm",
}


@pytest.fixture(scope="module")
def mats() -> ProcedureContent:
    return read_procedure((FOLDER / "surround_view_mats.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("typed", ["193", "193 cm", "1.93 m", "1930 mm", "193,0 cm"])
def test_193_cm_across_the_tyres_puts_the_marks_17_cm_outside(mats, typed):
    results = evaluate(mats.worksheet, {"across_rear_tyres": typed})
    assert results.values["mark_offset"].value == pytest.approx(170)
    told = [step.says for step in fill(mats.set_out, results.values)]
    assert "Mark 17 cm outside the tread edge at all four corners." in told


def test_a_us_shop_reads_the_mark_in_inches(mats):
    results = evaluate(mats.worksheet, {"across_rear_tyres": "6 ft 4"}, units="us")
    told = [step.says for step in fill(mats.set_out, results.values, "us")]
    assert "Mark 6 11/16 in outside the tread edge at all four corners." in told


def test_everything_as_it_should_be_passes(mats):
    results = evaluate(mats.worksheet, SET_OUT)
    assert results.passed
    assert set(results.checks) == {"room_for_marks", "reach", "left_parallel", "right_parallel"}


@pytest.mark.parametrize(
    ("reach", "verdict"),
    [("245 cm", "pass"), ("240 cm", "too close to call"), ("239 cm", "fail"), ("200 cm", "fail")],
)
def test_mats_reach_240_cm_beyond_the_vehicle(mats, reach, verdict):
    results = evaluate(mats.worksheet, {**SET_OUT, "reach_rear": reach})
    assert results.checks["reach"].verdict == verdict


# Class II tape over less than a metre: MPE 0.5 mm, resolution 1 mm, so one gap has
# u = sqrt(0.25/3 + 1/12) = 0.408 mm and the difference of two 0.577 mm. One-sided 95 % is
# 1.645 u = 0.950 mm: up to 12.05 mm passes, from 13.95 mm fails, between nobody can say.
@pytest.mark.parametrize(
    ("difference_mm", "verdict"),
    [
        (0.0, Verdict.PASS),
        (12.0, Verdict.PASS),
        (12.1, Verdict.TOO_CLOSE),
        (13.0, Verdict.TOO_CLOSE),
        (13.9, Verdict.TOO_CLOSE),
        (14.0, Verdict.FAIL),
        (30.0, Verdict.FAIL),
    ],
)
def test_mats_are_parallel_within_13_mm_as_a_class_ii_tape_can_tell(mats, difference_mm, verdict):
    typed = f"{170 + difference_mm} mm"
    results = evaluate(mats.worksheet, {**SET_OUT, "left_gap_front": typed})
    assert results.checks["left_parallel"].verdict is verdict


@pytest.mark.parametrize(
    ("volts", "verdict"),
    [
        ("11.5 V", "fail"),
        ("11.8 V", "too close to call"),
        ("12,4 V", "pass"),
        ("14.8", "pass"),
        ("15.2 V", "fail"),
    ],
)
def test_battery_lies_between_11_8_and_15_volts(mats, volts, verdict):
    battery = next(p for p in mats.preconditions if p.name == "battery")
    assert limits_in_words(battery) == "between 11.8 V and 15 V"
    assert battery.judge(volts).verdict == verdict


def test_side_room_is_six_feet_from_the_tyres(mats):
    rect = mats.clear_zone["parts"][0]["rect"]
    assert rect["to_y"] == {"datum": "left_tyre", "offset_mm": round(6 * 304.8)}
    assert rect["from_y"] == {"datum": "right_tyre", "offset_mm": -round(6 * 304.8)}
    assert rect["to_x"]["offset_mm"] >= 2400
    assert rect["from_x"]["offset_mm"] <= -2400


def test_two_people_lay_the_mats_and_everyone_leaves_for_the_run(mats):
    assert mats.second_person_minutes == mats.minutes.set_up
    assert "Everyone out of the area" in mats.run.wait_away
    assert "scan tool stays on" in mats.run.wait_away
    assert mats.road is False
