"""Metrology against values and libraries not written here."""

import math

import pytest
from scipy import stats

from jobs.metrology import (
    TapeClass,
    conformance_probability,
    evaluate,
    parse_quantity,
    tape_maximum_permissible_error_mm,
)
from jobs.metrology.uncertainty import Sources, standard_uncertainty
from jobs.metrology.worksheet import Worksheet

# OIML R 35-1 / Directive 2014/32/EU annex X (MI-008): the classes' errors over 10 m, and the
# same formula over lengths a shop tapes (length rounded up to the next whole metre).
R35 = [
    (TapeClass.I, 10_000, 1.1),
    (TapeClass.II, 10_000, 2.3),
    (TapeClass.III, 10_000, 4.6),
    (TapeClass.I, 1_000, 0.2),
    (TapeClass.II, 1_930, 0.7),
    (TapeClass.III, 2_001, 1.8),
    (TapeClass.II, 2_000, 0.7),
]


@pytest.mark.parametrize(("tape_class", "length_mm", "error_mm"), R35)
def test_tape_error_is_that_of_oiml_r_35(tape_class, length_mm, error_mm):
    found = tape_maximum_permissible_error_mm(tape_class, length_mm)
    assert found == pytest.approx(error_mm, abs=1e-12)


# NIST SP 811 (2008), appendix B.8: factors to SI, "exact" ones to the last digit.
SP811 = [
    ("1 in", "mm", 25.4, 0),
    ("1 ft", "mm", 304.8, 0),
    ("1 psi", "kPa", 6.894757, 5e-7),
    ("1 bar", "kPa", 100.0, 0),
    ("1 rad", "deg", 57.29578, 5e-6),
    ("60 min", "min", 60.0, 0),
    ("1 h", "min", 60.0, 0),
]


@pytest.mark.parametrize(("typed", "unit", "value", "rounding"), SP811)
def test_unit_factors_are_those_of_nist_sp_811(typed, unit, value, rounding):
    found = parse_quantity(typed, unit)
    assert found.unit == unit
    assert found.value == pytest.approx(value, rel=1e-14, abs=rounding)


@pytest.mark.parametrize("value", [9.0, 11.2, 12.0, 12.9, 13.0, 13.7, 20.0])
@pytest.mark.parametrize(("lower", "upper"), [(None, 13.0), (11.0, None), (11.0, 13.0)])
@pytest.mark.parametrize("u", [0.05, 0.58, 4.0])
def test_conformance_probability_agrees_with_scipy_stats(value, lower, upper, u):
    truth = stats.norm(loc=value, scale=u)
    below = 0.0 if lower is None else truth.cdf(lower)
    within = (1.0 if upper is None else truth.cdf(upper)) - below
    assert conformance_probability(value, u, lower, upper) == pytest.approx(within, abs=1e-12)


def test_end_gauge_of_gum_h1_has_its_uncertainty_and_degrees_of_freedom():
    # JCGM 100:2008 H.1, components in nm with their degrees of freedom; from memory.
    sources = Sources()
    components = [("standard", 25.0, 18), ("difference", 9.7, 25.6), ("expansion", 2.9, 50)]
    components.append(("temperature", 16.6, 2))
    total = 0.0
    for name, u, freedom in components:
        total = total + sources.part(name, u, freedom)
    assert standard_uncertainty(total) == pytest.approx(32, abs=0.5)
    freedom = sources.degrees_of_freedom(total)
    assert math.floor(freedom) == 16
    # GUM H.1.6: U99 = t99(16) x 32 nm = 93 nm.
    assert stats.t.ppf(0.995, 16) * 32 == pytest.approx(93, abs=0.6)


@pytest.mark.parametrize("scale", [1, 7, 100, 1234])
def test_three_four_five_triangle_gives_its_side_and_angle(scale):
    sheet = Worksheet.from_content(
        {
            "inputs": [{"name": "a", "unit": "mm"}, {"name": "b", "unit": "mm"}],
            "computed": [
                {"name": "c", "unit": "mm", "expr": "hypot(a, b)"},
                {"name": "angle", "unit": "deg", "expr": "degrees(atan2(a, b))"},
                {"name": "again", "unit": "mm", "expr": "c * sin(radians(angle))"},
            ],
        }
    )
    found = evaluate(sheet, {"a": str(3 * scale), "b": str(4 * scale)}).values
    assert found["c"].value == pytest.approx(5 * scale)
    assert found["angle"].value == pytest.approx(36.869897645844)  # atan(3/4), any table
    assert found["again"].value == pytest.approx(3 * scale)


def test_first_order_uncertainty_agrees_with_random_draws():
    # GUM supplement 1 by NumPy's generator, as an independent route to the same numbers.
    import numpy as np

    tape = {"class": "II", "resolution_mm": 1, "u": 0.2}
    names = ["left", "right"]
    sheet = Worksheet.from_content(
        {
            "inputs": [{"name": name, "unit": "mm", "instrument": tape} for name in names],
            "computed": [
                {"name": "yaw", "unit": "deg", "expr": "degrees(atan2(left - right, 1600))"},
                {"name": "area_root", "unit": "mm", "expr": "sqrt(left * right)"},
            ],
        }
    )
    found = evaluate(sheet, {"left": "4012 mm", "right": "3997 mm"}).values
    draws = np.random.default_rng(20260301)

    def read(centre: float, metres: int) -> "np.ndarray":
        error = 0.3 + 0.2 * metres
        n = 400_000
        return (
            centre
            + draws.uniform(-error, error, n)
            + draws.uniform(-0.5, 0.5, n)
            + draws.normal(0, 0.2, n)
        )

    left, right = read(4012, 5), read(3997, 4)
    yaw = np.degrees(np.arctan2(left - right, 1600))
    assert found["yaw"].standard_uncertainty == pytest.approx(yaw.std(), rel=0.01)
    spread = np.sqrt(left * right).std()
    assert found["area_root"].standard_uncertainty == pytest.approx(spread, rel=0.01)
