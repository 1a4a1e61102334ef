"""Lengths as typed and as said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bays.lengths import LengthRefused, Units, parse_length, say_length
from jobs.metrology.quantities import parse_quantity


@pytest.mark.parametrize(
    ("text", "units", "mm"),
    [
        # NIST SP 811, appendix B.8: inch 25.4 mm, foot 304.8 mm, both exact
        ("1 in", "us", 25.4),
        ("1 ft", "us", 304.8),
        ("10 ft 6 in", "us", 3200.4),
        ("10' 6 1/2\"", "us", 3213.1),
        ("126", "us", 3200.4),
        ("3200", "metric", 3200.0),
        ("3.2 m", "metric", 3200.0),
        ("3,2 m", "metric", 3200.0),
        ("320 cm", "metric", 3200.0),
        ("-4 ft", "metric", -1219.2),
        ("−1.5 m", "metric", -1500.0),
    ],
)
def test_a_length_is_read_as_people_write_it(text: str, units: Units, mm: float) -> None:
    assert parse_length(text, units) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    ["", "  ", "wide", "3 banana", "3 m 4", "1/0 in", "5 ft 13 in", "1,234", "9" * 41, "1e4"],
)
def test_what_is_no_length_is_refused_with_what_would_be(text: str) -> None:
    with pytest.raises(LengthRefused) as refused:
        parse_length(text, "metric")
    assert refused.value.title
    assert refused.value.detail.startswith("Write")


@pytest.mark.parametrize("text", ["3.2 m", "10 ft 6", "6'4\"", "76 1/2 in", "12,5 cm", "-3 mm"])
def test_the_same_words_mean_the_same_as_where_readings_are_typed(text: str) -> None:
    assert parse_length(text, "metric") == pytest.approx(parse_quantity(text, "mm").value)


@given(st.integers(-200_000, 200_000), st.sampled_from(["metric", "us"]))
def test_every_length_said_reads_back_as_the_same_millimetre(mm: int, units: Units) -> None:
    assert round(parse_length(say_length(mm, units), units)) == mm
