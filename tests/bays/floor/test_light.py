"""Light between readings, never beyond them; yes, no or unknown with its uncertainty."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator
from shapely.geometry import Point, Polygon

from bays.floor import LightTolerance, light, light_figures, light_words
from tests.bays.floor.cases import rect

ZONE = rect(0, 0, 8000, 6000)
GRID = [(x, y) for x in range(0, 8001, 2000) for y in range(0, 6001, 2000)]
FIVE_HUNDRED = LightTolerance(min_lux=500)


def even(lux: float) -> list[tuple[float, float, float]]:
    return [(x, y, lux) for x, y in GRID]


@pytest.mark.parametrize(
    ("lux", "uncertainty_percent", "verdict", "reason"),
    [
        (600, 5, "yes", "lit"),
        (400, 5, "no", "not_lit"),
        (520, 5, "unknown", "too_close"),
        (480, 5, "unknown", "too_close"),
        (520, 1, "yes", "lit"),
        (500, 0, "yes", "lit"),  # a limit itself is allowed
        (499.9, 0, "no", "not_lit"),
    ],
)
def test_even_light_is_judged_with_its_uncertainty(
    lux: float, uncertainty_percent: float, verdict: str, reason: str
) -> None:
    found = light(even(lux), ZONE, FIVE_HUNDRED, reading_uncertainty_percent=uncertainty_percent)
    assert (found.verdict, found.reason) == (verdict, reason)
    assert found.least_lux == found.most_lux == lux
    assert found.mean_lux == pytest.approx(lux)


def test_too_close_to_call_names_the_meter_that_would_settle_it() -> None:
    found = light(even(520), ZONE, FIVE_HUNDRED, reading_uncertainty_percent=5)
    finer = float(found.says.split("good to ")[1].split(" %")[0])
    settled = light(even(520), ZONE, FIVE_HUNDRED, reading_uncertainty_percent=finer)
    assert settled.verdict == "yes"
    hopeless = light(even(501), ZONE, FIVE_HUNDRED, reading_uncertainty_percent=5)
    assert "clean the lamps or add one" in hopeless.says


def test_the_dark_corner_is_found_where_it_is() -> None:
    points = [(x, y, 300.0 if (x, y) == (8000, 6000) else 700.0) for x, y in GRID]
    found = light(points, ZONE, FIVE_HUNDRED, reading_uncertainty_percent=5)
    assert (found.verdict, found.worst_point) == ("no", (8000, 6000))
    assert "300 lux at its darkest" in found.says


def test_too_bright_is_no_and_its_place_is_the_brightest() -> None:
    points = [(x, y, 2000.0 if (x, y) == (4000, 2000) else 700.0) for x, y in GRID]
    found = light(points, ZONE, LightTolerance(min_lux=500, max_lux=1500))
    assert (found.verdict, found.worst_point) == ("no", (4000, 2000))
    assert "at most 1500 lux" in found.says


def test_uneven_light_fails_though_it_is_bright_everywhere() -> None:
    points = [(x, y, 600.0 + 0.3 * x) for x, y in GRID]
    found = light(points, ZONE, LightTolerance(min_lux=500, uniformity=0.7))
    assert found.uniformity == pytest.approx(600 / 1800)
    assert found.verdict == "no"
    assert "of the mean" in found.says


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.floats(0, 360),
    st.floats(1500, 3500),
    st.floats(1000, 2500),
)
def test_darkest_and_brightest_agree_with_scipy_sampled_finely(
    seed: int, turn: float, long: float, wide: float
) -> None:
    """scipy's LinearNDInterpolator on its own triangles, at 4,000 places of the zone."""
    random = np.random.default_rng(seed)
    places = random.uniform(0, 10_000, size=(60, 2))
    lux = random.uniform(100, 900, 60)
    a = math.radians(turn)
    corners = [
        (5000 + x * math.cos(a) - y * math.sin(a), 5000 + x * math.sin(a) + y * math.cos(a))
        for x, y in ((-long, -wide), (long, -wide), (long, wide), (-long, wide))
    ]
    wanted = LightTolerance(min_lux=None, beyond_mm=20_000)
    found = light(np.column_stack([places, lux]).tolist(), corners, wanted)
    spots = np.array(
        [
            (5000 + x * math.cos(a) - y * math.sin(a), 5000 + x * math.sin(a) + y * math.cos(a))
            for x in np.linspace(-long, long, 80)
            for y in np.linspace(-wide, wide, 50)
        ]
    )
    sampled = LinearNDInterpolator(places, lux)(spots)
    sampled = sampled[np.isfinite(sampled)]
    assert found.least_lux is not None
    assert found.most_lux is not None
    # exact extremes enclose the sampled ones, and a place has them
    assert found.least_lux <= sampled.min() + 1e-6
    assert found.most_lux >= sampled.max() - 1e-6
    assert found.darkest_point is not None
    assert Polygon(corners).distance(Point(found.darkest_point)) < 1.1
    there = LinearNDInterpolator(places, lux)([found.darkest_point])[0]
    assert not np.isfinite(there) or there == pytest.approx(found.least_lux, abs=1e-4)
    if len(sampled) > 3_900:
        assert found.mean_lux == pytest.approx(sampled.mean(), rel=0.03)


@pytest.mark.parametrize(
    ("points", "reason", "word"),
    [
        ([], "too_few", "Nobody has read the light"),
        ([(0, 0, 500), (8000, 0, 500)], "too_few", "only 2 places"),
        ([(1000 * i, 500 * i, 500) for i in range(9)], "line", "one line"),
        ([(x, y, 500) for x, y in GRID if x <= 4000], "not_covered", "leaves out"),
        ([(0, 0, math.nan), (8000, 0, 500), (0, 6000, 500)], "too_few", "only 2 places"),
    ],
)
def test_readings_that_do_not_tell_give_unknown(
    points: list[tuple[float, float, float]], reason: str, word: str
) -> None:
    found = light(points, ZONE, FIVE_HUNDRED)
    assert (found.verdict, found.reason) == ("unknown", reason)
    assert word in found.says


def test_nothing_is_guessed_beyond_the_readings() -> None:
    # falling steeply to the right: beyond the last reading it would be darker still
    points = [(x, y, 1000.0 - 0.1 * x) for x, y in GRID if x <= 6000]
    found = light(points, rect(0, 0, 6800, 6000), FIVE_HUNDRED)
    assert found.least_lux == pytest.approx(400)
    assert found.darkest_point is not None
    assert found.darkest_point[0] == pytest.approx(6000)


def test_readings_at_one_place_are_averaged() -> None:
    found = light([*even(500), (0, 0, 700)], ZONE, FIVE_HUNDRED)
    assert found.most_lux == pytest.approx(600)
    assert found.places == len(GRID)


def test_light_that_was_read_too_long_ago_backs_no_yes() -> None:
    since = date(2026, 3, 4)
    assert light(even(600), ZONE, FIVE_HUNDRED, overdue_since=since).reason == "overdue"
    assert light(even(400), ZONE, FIVE_HUNDRED, overdue_since=since).verdict == "no"


def test_us_shops_read_footcandles() -> None:
    tolerance = LightTolerance(min_lux=538.2)
    found = light(even(1076.391), ZONE, tolerance, reading_uncertainty_percent=5)
    assert "100.0 fc at its darkest" in light_words(found, tolerance, "us")
    assert "at least 50.0 fc" in light_words(found, tolerance, "us")
    assert light_figures(found, "us").startswith("100.0 fc at its darkest")
