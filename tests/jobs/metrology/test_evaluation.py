"""From readings to values and verdicts."""

import itertools
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.metrology import (
    Instrument,
    Quantity,
    TapeClass,
    Verdict,
    Worksheet,
    evaluate,
    judge,
    parse_quantity,
)

TAPE = {"class": "II", "resolution_mm": 1}
GAPS = Worksheet.from_content(
    {
        "inputs": [
            {
                "name": "front",
                "label": "front gap",
                "unit": "mm",
                "instrument": TAPE,
                "plausible": {"lower": 10, "upper": 600},
            },
            {"name": "rear", "label": "rear gap", "unit": "mm", "instrument": TAPE},
        ],
        "computed": [{"name": "out", "unit": "mm", "expr": "abs(front - rear)"}],
        "checks": [
            {"name": "parallel", "quantity": "out", "upper": 13, "remedy": "Shift the mat."}
        ],
    }
)


def says(front, rear="170 mm", **more):
    return evaluate(GAPS, {"front": front, "rear": rear}, **more).checks["parallel"].says


def test_a_pass_is_told_with_its_limit():
    assert says("174 mm") == "4 mm, limit 13 mm: pass"


def test_a_fail_says_what_to_do():
    assert says("190 mm") == "20 mm, limit 13 mm: fail. Shift the mat."


def test_too_close_to_call_says_what_would_settle_it():
    assert says("182.5 mm") == (
        "12.5 mm, limit 13 mm: too close to call; "
        "measure “front gap” and “rear gap” again or bring it to 12 mm or less"
    )


def test_a_finer_tape_is_offered_only_where_it_would_settle():
    coarse = Instrument(tape_class=TapeClass.III, resolution=0.1)
    told = says("181.9 mm", instruments={"front": coarse, "rear": coarse})
    assert "take a class I tape" in told
    fine = {"front": Instrument(tape_class=TapeClass.I, resolution=0.1)}
    fine["rear"] = fine["front"]
    assert says("181.9 mm", instruments=fine).endswith("pass")
    assert "class I tape" not in says("182.9 mm", instruments={"front": coarse, "rear": coarse})


def test_bringing_it_where_the_advice_says_does_pass():
    coarse = Instrument(tape_class=TapeClass.III, resolution=1)
    both = {"front": coarse, "rear": coarse}
    told = says("183 mm", instruments=both)
    target = float(told.rpartition("bring it to ")[2].partition(" mm")[0])
    assert says(f"{170 + target} mm", instruments=both).endswith("pass")
    assert "too close" in says(f"{170 + target + 0.2} mm", instruments=both)


def test_a_us_shop_is_told_in_inches():
    assert says("174 mm", units="us") == "0.16 in, limit 0.51 in: pass"


def test_limits_narrower_than_the_instrument_can_decide_are_said_to_be():
    sheet = Worksheet.from_content(
        {
            "inputs": [{"name": "h", "unit": "mm", "instrument": {"class": "III"}}],
            "checks": [{"name": "c", "quantity": "h", "lower": 99.5, "upper": 100.5}],
        }
    )
    told = evaluate(sheet, {"h": "100"}).checks["c"]
    assert told.verdict is Verdict.TOO_CLOSE
    assert "cannot decide between these limits" in told.says


def test_uncertainty_of_a_reading_is_that_of_instrument_and_repeats():
    sheet = Worksheet.from_content(
        {"inputs": [{"name": "x", "unit": "mm", "instrument": {**TAPE, "u": 0.2}, "repeats": 3}]}
    )
    found = evaluate(sheet, {"x": ["1930", "1932", "1931"]}).values["x"]
    # MPE of class II at 2 m is 0.7 mm; s of the three is 1 mm.
    type_a = 1 / 3
    whole = 0.7**2 / 3 + 1 / 12 + 0.2**2 + type_a
    assert found.value == pytest.approx(1931)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(whole))
    assert found.degrees_of_freedom == pytest.approx(whole**2 / (type_a**2 / 2))


def test_scatter_of_repeats_asks_for_more_of_them():
    repeats = ["178", "187", "181", "186", "182"]
    assert "measure twice more" in says(repeats)


def test_a_value_waits_for_its_readings():
    found = evaluate(GAPS, {"front": "170"})
    assert found.missing == ("rear",)
    assert set(found.values) == {"front"}
    assert not found.checks
    assert not found.passed


def test_too_few_repeats_are_missing():
    sheet = Worksheet.from_content({"inputs": [{"name": "x", "unit": "mm", "repeats": 2}]})
    assert evaluate(sheet, {"x": ["5"]}).missing == ("x",)
    assert evaluate(sheet, {"x": ["5", "6"]}).values["x"].value == 5.5


@pytest.mark.parametrize(
    ("typed", "says", "right"),
    [
        ("12 V", "is a voltage", "Write a length"),
        ("17 m", "cannot be right", "Usual is 10 mm to 60 cm"),
        (Quantity(12, "V"), "is in V", "Give it in mm"),
    ],
)
def test_a_refused_reading_is_told_with_its_place(typed, says, right):
    found = evaluate(GAPS, {"front": [typed], "rear": "170"})
    (error,) = found.errors
    assert error.path == "front[0]"
    assert says in error.says
    assert right in error.right
    assert "parallel" not in found.checks
    assert not found.passed


def test_a_reading_nobody_asked_for_is_refused():
    assert evaluate(GAPS, {"frnt": "170"}).errors[0].path == "frnt"


@pytest.mark.parametrize(
    ("expr", "unit"), [("sqrt(a - b)", "1"), ("a / (a - b)", "1"), ("hypot(a - b, a - b)", "1")]
)
def test_arithmetic_without_a_value_is_an_error_not_a_number(expr, unit):
    sheet = Worksheet.from_content(
        {
            "inputs": [{"name": n, "unit": "1", "instrument": {"u": 0.1}} for n in "ab"],
            "computed": [{"name": "c", "unit": unit, "expr": expr}],
            "checks": [{"name": "k", "quantity": "c", "upper": 1}],
        }
    )
    found = evaluate(sheet, {"a": "2", "b": "2" if "sqrt" not in expr else "3"})
    assert [error.path for error in found.errors] == ["c"]
    assert not found.checks


def test_results_can_be_kept_as_json():
    content = evaluate(GAPS, {"front": "174 mm", "rear": ["170", "171"]}).as_content()
    again = json.loads(json.dumps(content, allow_nan=False))
    assert again["values"]["front"]["degrees_of_freedom"] is None
    assert again["checks"]["parallel"]["verdict"] == "pass"


@settings(max_examples=60)
@given(
    front=st.floats(150, 200),
    rear=st.floats(150, 200),
    unit=st.sampled_from(["mm", "cm", "m", "in", "ft"]),
)
def test_typing_in_other_units_changes_no_verdict(front, rear, unit):
    scale = {"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": 304.8}[unit]
    # twelve decimals: typing rounds by far less than any verdict's edge is likely to be missed
    here = evaluate(GAPS, {"front": f"{front:.12f} mm", "rear": f"{rear:.12f} mm"})
    there = evaluate(
        GAPS, {"front": f"{front / scale:.12f} {unit}", "rear": f"{rear / scale:.12f} {unit}"}
    )
    assert here.checks["parallel"].verdict is there.checks["parallel"].verdict


@pytest.mark.parametrize("whole_metres", [1, 2, 3, 5, 10])
def test_a_whole_metre_in_feet_keeps_its_error(whole_metres):
    sheet = Worksheet.from_content(
        {"inputs": [{"name": "x", "unit": "mm", "instrument": {"class": "II"}}]}
    )
    feet = evaluate(sheet, {"x": f"{whole_metres * 1000 / 304.8:.12f} ft"}).values["x"]
    metres = evaluate(sheet, {"x": f"{whole_metres} m"}).values["x"]
    assert feet.standard_uncertainty == metres.standard_uncertainty


@settings(max_examples=60)
@given(difference=st.floats(0, 30))
def test_a_finer_tape_never_turns_pass_into_fail(difference):
    verdicts = []
    for tape_class in (TapeClass.III, TapeClass.II, TapeClass.I):
        tape = Instrument(tape_class=tape_class, resolution=1)
        found = evaluate(
            GAPS,
            {"front": f"{170 + difference:.6f} mm", "rear": "170"},
            {"front": tape, "rear": tape},
        )
        verdicts.append(found.checks["parallel"].verdict)
    for coarse, fine in itertools.pairwise(verdicts):
        assert {coarse, fine} != {Verdict.PASS, Verdict.FAIL}


def test_without_uncertainty_the_limit_itself_passes():
    exact = parse_quantity("13", "mm")
    assert judge(exact.value, exact.unit, lower=None, upper=13).verdict is Verdict.PASS
    assert judge(13.0001, "mm", lower=None, upper=13).verdict is Verdict.FAIL
