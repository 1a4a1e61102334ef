"""What people type, and how quantities are told to them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.metrology import ReadingRefused, format_quantity, parse_quantity


@pytest.mark.parametrize(
    ("typed", "default_unit", "value", "unit"),
    [
        ("193", "cm", 1930, "mm"),
        ("193", "mm", 193, "mm"),
        ("193 cm", "mm", 1930, "mm"),
        ("193cm", "in", 1930, "mm"),
        ("1.93 m", "cm", 1930, "mm"),
        ("1,93 m", "cm", 1930, "mm"),
        ("6 ft 4", "cm", 1930.4, "mm"),
        ("6'4\"", "cm", 1930.4, "mm"),
        ("6′ 4″", "cm", 1930.4, "mm"),
        ("6 ft 4 1/2 in", "cm", 1943.1, "mm"),
        ("6'4½\"", "cm", 1943.1, "mm"),
        ("76 in", "cm", 1930.4, "mm"),
        ("76", "in", 1930.4, "mm"),
        ('5/8"', "cm", 15.875, "mm"),
        ("6.5 ft", "cm", 1981.2, "mm"),
        ("-3 mm", "cm", -3, "mm"),
        ("−3 mm", "cm", -3, "mm"),
        ("12,4 V", "V", 12.4, "V"),
        ("12400 mV", "V", 12.4, "V"),
        ("2.3 bar", "kPa", 230, "kPa"),
        ("33 psi", "kPa", 227.527, "kPa"),
        ("230 KPA", "psi", 230, "kPa"),
        ("0.25°", "deg", 0.25, "deg"),
        ("-0° 15'", "deg", -0.25, "deg"),
        ("0,125", "deg", 0.125, "deg"),
        ("2", "1", 2, "1"),
    ],
)
def test_what_is_typed_means_what_it_says(typed, default_unit, value, unit):
    found = parse_quantity(typed, default_unit)
    assert found.unit == unit
    assert found.value == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("typed", "default_unit", "code"),
    [
        ("", "cm", "empty"),
        ("   ", "cm", "empty"),
        ("abc", "cm", "not_a_number"),
        ("1 930", "mm", "not_a_number"),  # thousands parted by a space
        ("193 to 195", "cm", "unknown_unit"),
        ("nan", "mm", "not_a_number"),
        ("1e3", "mm", "unknown_unit"),
        ("1,930 mm", "mm", "ambiguous_comma"),  # 1.93 or 1930
        ("193 yards", "cm", "unknown_unit"),
        ("12 V", "cm", "wrong_kind"),
        ("193 cm", "V", "wrong_kind"),
        ("6 ft 4", "V", "wrong_kind"),
        ("6 ft 14", "cm", "part_out_of_range"),
        ("6.5 ft 4", "cm", "part_out_of_range"),
        ("1/0 in", "cm", "not_a_number"),
        ("1/2 cm", "cm", "fraction"),
        ("9" * 39, "cm", None),  # absurd, but a number: plausible bounds refuse it
        ("9" * 41, "cm", "too_long"),
    ],
)
def test_bad_text_is_refused_with_what_would_be_right(typed, default_unit, code):
    if code is None:
        assert parse_quantity(typed, default_unit).value > 1e30
        return
    with pytest.raises(ReadingRefused) as refused:
        parse_quantity(typed, default_unit)
    assert refused.value.code == code
    assert refused.value.right


@given(st.text(max_size=50))
def test_any_text_is_read_or_refused(text):
    try:
        unit = parse_quantity(text, "cm").unit
    except ReadingRefused as refused:
        unit = "mm" if refused.right else "refused without saying what would be right"
    assert unit == "mm"


@given(st.floats(0, 20_000), st.sampled_from(["mm", "cm", "m", "in", "ft"]))
def test_a_length_survives_being_written_in_any_unit(value_mm, unit):
    scale = {"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": 304.8}[unit]
    found = parse_quantity(f"{value_mm / scale:.9f} {unit}", "mm")
    assert found.value == pytest.approx(value_mm, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (12.04, "mm", "12 mm", "1/2 in"),
        (170, "mm", "17 cm", "6 11/16 in"),
        (1930, "mm", "193 cm", "6 ft 4 in"),
        (1828.8, "mm", "182.9 cm", "6 ft"),
        (12_345, "mm", "12.345 m", "40 ft 6 in"),
        (-170, "mm", "-17 cm", "-6 11/16 in"),
        (0, "mm", "0 mm", "0 in"),
        (230, "kPa", "230 kPa", "33.4 psi"),
        (12.4, "V", "12.4 V", "12.4 V"),
        (-0.001, "deg", "0°", "0°"),
        (20, "min", "20 min", "20 min"),
    ],
)
def test_people_read_their_own_units(value, unit, metric, us):
    assert format_quantity(value, unit) == metric
    assert format_quantity(value, unit, "us") == us
