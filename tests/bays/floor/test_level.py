"""Checked against scipy.optimize.least_squares, and against a plane known by construction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from bays.floor import LevelTolerance, level
from tests.bays.floor.cases import read_case, rect

ZONE = rect(0, 0, 8000, 6000)
STRICT = LevelTolerance(slope_percent=0.5, deviation_mm=5)
LOOSE = LevelTolerance(slope_percent=100, deviation_mm=1e6)
GRID = [(x, y) for x in range(0, 8001, 1000) for y in range(0, 6001, 1000)]


def test_slopes_of_a_known_plane() -> None:
    # 1.0 % along x, 0.5 % along y, vehicle heading +y: rises ahead, falls to the left
    case = read_case("survey_of_a_plane")
    points = [[1000 * value for value in row] for row in case["survey_xyz_m"]]
    zone = [[1000 * value for value in row] for row in case["zone_polygon"]]
    found = level(points, zone, case["heading_deg"], STRICT)
    assert found.verdict == "no"
    assert found.slope_percent == pytest.approx(math.hypot(1, 0.5), abs=1e-3)
    assert found.along_percent == pytest.approx(0.5, abs=1e-3)
    assert found.across_percent == pytest.approx(-1.0, abs=1e-3)
    assert found.max_deviation_mm == pytest.approx(0, abs=0.01)


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(-30, 30), min_size=len(GRID), max_size=len(GRID)),
    st.floats(0, 360),
)
def test_plane_agrees_with_scipy_least_squares(heights: list[float], heading: float) -> None:
    points = np.array([(x, y, z) for (x, y), z in zip(GRID, heights, strict=True)])
    found = level(points.tolist(), ZONE, heading, LOOSE)

    def residuals(plane: np.ndarray) -> np.ndarray:
        return points[:, 2] - plane[0] - (plane[1] * points[:, 0] + plane[2] * points[:, 1]) / 1000

    fit = least_squares(residuals, np.zeros(3))
    a = math.radians(heading)
    dx, dy = fit.x[1] / 1000, fit.x[2] / 1000
    along = 100 * (dx * math.cos(a) + dy * math.sin(a))
    across = 100 * (dy * math.cos(a) - dx * math.sin(a))
    assert found.slope_percent == pytest.approx(100 * math.hypot(dx, dy), abs=1e-6)
    assert found.along_percent == pytest.approx(along, abs=1e-6)
    assert found.across_percent == pytest.approx(across, abs=1e-6)
    assert found.max_deviation_mm == pytest.approx(np.abs(residuals(fit.x)).max(), abs=1e-5)


def test_a_bump_on_a_flat_floor_is_found_where_it_is() -> None:
    points = [(x, y, 12.0 if (x, y) == (3000, 2000) else 0.0) for x, y in GRID]
    found = level(points, ZONE, 0, STRICT)
    assert found.verdict == "no"
    assert found.worst_point == (3000, 2000)
    assert "mm off" in found.says
    assert "slopes" not in found.says


def test_slope_and_deviation_are_both_judged() -> None:
    sloped = [(x, y, 0.006 * x) for x, y in GRID]
    found = level(sloped, ZONE, 0, STRICT)
    assert (found.verdict, found.max_deviation_mm) == ("no", pytest.approx(0, abs=1e-9))
    assert "slopes 0.60 %" in found.says


def test_limits_themselves_are_allowed() -> None:
    at_limit = [(x, y, 0.005 * x) for x, y in GRID]
    assert level(at_limit, ZONE, 0, STRICT).verdict == "yes"


@pytest.mark.parametrize(
    ("points", "word"),
    [
        ([], "0 places"),
        ([(0, 0, 0), (8000, 6000, 0)], "2 places"),
        # the same place read three times is one place
        ([(0, 0, 0), (0, 0, 1), (8000, 0, 0)], "2 places"),
        ([(1000 * i, 750 * i, 0) for i in range(9)], "one line"),
        # a second line so near that the slope across would be guesswork
        ([(1000 * i, 3000 + 20 * (i % 2), 0) for i in range(9)], "one line"),
        ([(x, y, 0) for x, y in GRID if x <= 6000], "leaves out"),
        ([(x + 9000, y, 0) for x, y in GRID], "0 places"),
        ([(float("nan"), y, 0) for _, y in GRID], "0 places"),
    ],
)
def test_survey_that_does_not_tell_gives_unknown(
    points: list[tuple[float, float, float]], word: str
) -> None:
    found = level(points, ZONE, 0, STRICT)
    assert found.verdict == "unknown"
    assert word in found.says


def test_readings_outside_the_zone_do_not_count() -> None:
    inside = [(x, y, 0.0) for x, y in GRID]
    found = level([*inside, (20000, 3000, 900)], ZONE, 0, STRICT)
    assert found.verdict == "yes"
    assert found.slope_percent == pytest.approx(0, abs=1e-9)


def test_a_shop_may_ask_for_no_wide_gaps_between_readings() -> None:
    corners = [(x, y, 0.0) for x in (0, 8000) for y in (0, 6000)]
    assert level(corners, ZONE, 0, STRICT).verdict == "yes"
    careful = LevelTolerance(slope_percent=0.5, deviation_mm=5, gap_mm=2000)
    assert level(corners, ZONE, 0, careful).verdict == "unknown"
    assert level([(x, y, 0.0) for x, y in GRID], ZONE, 0, careful).verdict == "yes"


@settings(max_examples=30, deadline=None)
@given(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.floats(0, 360))
def test_turning_the_vehicle_round_turns_the_signs_round(
    dx: float, dy: float, heading: float
) -> None:
    points = [(x, y, dx * x + dy * y) for x, y in GRID]
    one = level(points, ZONE, heading, LOOSE)
    other = level(points, ZONE, heading + 180, LOOSE)
    assert one.along_percent == pytest.approx(-(other.along_percent or 0), abs=1e-9)
    assert one.across_percent == pytest.approx(-(other.across_percent or 0), abs=1e-9)
    assert one.slope_percent == pytest.approx(100 * math.hypot(dx, dy), abs=1e-9)
