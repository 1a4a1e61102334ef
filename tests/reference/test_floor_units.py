"""Lengths, areas and light on the floor pages against outside factors.

NIST Special Publication 811 (2008 edition), appendix B.8: inch 2.54 E-02 m and foot 3.048 E-01 m
(both exact), square foot 9.290 304 E-02 m² (exact), footcandle 1.076 391 E+01 lx. Beside the
printed factors, ezdxf's own table of drawing units is asked.
"""

from __future__ import annotations

import ezdxf.units
import pytest

from bays.floor import words
from bays.floor.light_answer import LUX_PER_FOOTCANDLE
from bays.lengths import MM_PER_FOOT, MM_PER_INCH, parse_length
from bays.transfer.dxf import UNITS


@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        ("1 in", 2.54e-2),
        ("1 ft", 3.048e-1),
        ("10 ft", 3.048),
        ("1 ft 1 in", 3.048e-1 + 2.54e-2),
        ("19 ft", 19 * 3.048e-1),
        ("1 mm", 1e-3),
        ("1 cm", 1e-2),
        ("1 m", 1.0),
    ],
)
def test_typed_lengths_have_the_factors_of_sp_811(typed: str, metres: float) -> None:
    for units in ("metric", "us"):
        assert parse_length(typed, units) == pytest.approx(1000 * metres, rel=1e-12)


def test_inch_and_foot_are_the_exact_ones_wherever_they_stand() -> None:
    assert MM_PER_INCH == words.MM_PER_INCH == 25.4
    assert MM_PER_FOOT == 304.8


def test_footcandle_is_that_of_sp_811() -> None:
    assert pytest.approx(1.076391e1, rel=5e-7) == LUX_PER_FOOTCANDLE


@pytest.mark.parametrize("code", sorted(UNITS))
def test_drawing_units_are_those_of_ezdxf(code: int) -> None:
    millimetres = ezdxf.units.conversion_factor(code, ezdxf.units.MM)
    # its table goes by way of feet with eleven places
    assert UNITS[code] == pytest.approx(millimetres, rel=1e-10)
