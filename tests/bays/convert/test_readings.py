"""Tables as people paste them: from a spreadsheet, an instrument, a notebook."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bays.convert.readings import parse_readings


def values(text: str) -> list[tuple[float, float, float]]:
    found = parse_readings(text)
    assert found.faults == ()
    return [(row.x, row.y, row.value) for row in found.rows]


@pytest.mark.parametrize(
    "text",
    [
        "1.5,2,-3\n4,5,6",
        "x,y,height\n1.5,2,-3\n4,5,6",
        "1,5;2;-3\n4;5;6",  # a comma for the decimal sign
        "1.5\t2\t-3\n4\t5\t6",
        "1,5\t2\t\u22123\n4\t5\t6",  # a true minus sign, as word processors write it
        "1.5 2 -3\n4 5 6",
        "  1,5   2   -3 \n\n# the second row\n4 5 6\n",
        "P1,1.5,2,-3\nP2,4,5,6",  # a name before each reading
        '"1.5","2","-3"\n"4","5","6"',
        "1.50, 2.00, -3.0\n4, 5, 6",
        "1.5,2,-3\r\n4,5,6\r\n",
    ],
)
def test_the_same_readings_in_many_hands(text: str) -> None:
    assert values(text) == [(1.5, 2, -3), (4, 5, 6)]


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("1;2;3\n1;abc;3", 2, "“abc” is no number"),
        ("1;2;3\n1;2", 2, "2 columns"),
        ("1;2;3\n\n1;2;3;4", 3, "4 columns"),  # empty lines count as the person sees them
        ("1;2;3\n1;;3", 2, "empty column"),
        ("1,2,3\n1,500,2,000,3", 2, "5 columns"),
        ("1;2;3\n1;2;nan", 2, "“nan” is no number"),
        ("1;2;3\n1;2;1e999", 2, "“1e999” is no number"),
    ],
)
def test_a_line_that_cannot_be_read_is_told_by_its_number(text: str, line: int, word: str) -> None:
    (fault,) = parse_readings(text).faults
    assert fault.line == line
    assert word in fault.says


def test_every_wrong_line_is_told_and_the_right_ones_are_kept() -> None:
    found = parse_readings("1;2;3\n1;x;3\n4;5;6\n7;8")
    assert [fault.line for fault in found.faults] == [2, 4]
    assert [row.line for row in found.rows] == [1, 3]
    assert found.line_of(1) == 3


def test_nothing_at_all_is_nothing() -> None:
    assert parse_readings(" \n# none yet\n") == parse_readings("")


NUMBERS = st.floats(-1e5, 1e5).map(lambda value: round(value, 3))


@given(
    st.lists(st.tuples(NUMBERS, NUMBERS, NUMBERS), min_size=1, max_size=30),
    st.sampled_from("\t; "),
    st.booleans(),
)
def test_what_is_written_is_read(
    rows: list[tuple[float, float, float]], separator: str, comma: bool
) -> None:
    def written(value: float) -> str:
        return f"{value:.3f}".replace(".", "," if comma else ".")

    text = "\n".join(separator.join(map(written, row)) for row in rows)
    assert values(text) == rows
