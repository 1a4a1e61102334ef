"""Yes, no or unknown: readings have an error, surveys have a day, and not all floor is read."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon, box

from bays.floor import Level, LevelTolerance, level, level_figures, level_words
from bays.floor.verdict import against, overdue_since, rounded_up, told_apart
from tests.bays.floor.cases import rect

ZONE = rect(0, 0, 8000, 6000)
GRID = [(x, y) for x in range(0, 8001, 1000) for y in range(0, 6001, 1000)]
ONE_PERCENT = LevelTolerance(slope_percent=1, deviation_mm=5)


def sloped(percent: float, bump_mm: float = 0.0) -> list[tuple[float, float, float]]:
    return [(x, y, percent / 100 * x + (bump_mm if x == y == 3000 else 0)) for x, y in GRID]


@pytest.mark.parametrize(
    ("percent", "uncertainty_mm", "verdict", "reason"),
    [
        (0.9, 0.5, "yes", "level"),
        (1.4, 0.5, "no", "not_level"),
        (1.003, 0.5, "unknown", "too_close"),
        (0.997, 0.5, "unknown", "too_close"),
        (0.997, 0.05, "yes", "level"),
        (1.0, 0.0, "yes", "level"),
        (1.00001, 0.0, "no", "not_level"),
    ],
)
def test_a_limit_inside_the_expanded_uncertainty_is_too_close_to_call(
    percent: float, uncertainty_mm: float, verdict: str, reason: str
) -> None:
    found = level(sloped(percent), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=uncertainty_mm)
    assert (found.verdict, found.reason) == (verdict, reason)


def test_too_close_to_call_says_what_would_settle_it_and_it_does() -> None:
    found = level(sloped(0.997), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert "too close to call" in found.says
    assert "Heights good to 0.5" not in found.says
    finer = float(found.says.split("good to ")[1].split(" mm")[0])
    assert level(sloped(0.997), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=finer).verdict == "yes"
    times = int(found.says.split(" or ")[1].split(" times")[0])
    repeated = sloped(0.997) * times
    assert level(repeated, ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5).verdict == "yes"


def test_at_the_limit_itself_no_reading_settles_it() -> None:
    found = level(sloped(1.0), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert found.verdict == "unknown"
    assert "level the floor" in found.says


def test_a_bump_too_near_its_limit_is_too_close_to_call() -> None:
    found = level(sloped(0.2, bump_mm=5.3), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert (found.verdict, found.worst_point) == ("unknown", (3000, 3000))
    assert found.worst_is_above
    assert "off its plane" in found.says
    assert "slopes" not in found.says  # the slope is settled


def test_one_clear_no_outweighs_what_is_too_close() -> None:
    found = level(sloped(1.5, bump_mm=5.3), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert found.verdict == "no"
    assert "slopes 1.5" in found.says
    assert "off its plane" not in found.says


@pytest.mark.parametrize(
    ("due_on", "percent", "verdict", "reason"),
    [
        (date(2026, 3, 10), 0.5, "yes", "level"),  # the last day still counts
        (date(2026, 3, 9), 0.5, "unknown", "overdue"),
        (date(2026, 3, 9), 1.5, "no", "not_level"),  # a floor does not mend itself
        (None, 0.5, "yes", "level"),
    ],
)
def test_a_survey_past_its_day_backs_no_yes(
    due_on: date | None, percent: float, verdict: str, reason: str
) -> None:
    since = overdue_since(due_on, date(2026, 3, 10))
    found = level(sloped(percent), ZONE, 0, ONE_PERCENT, overdue_since=since)
    assert (found.verdict, found.reason) == (verdict, reason)
    assert ("overdue since 2026-03-10" in found.says) == (since is not None)


def test_what_is_not_limited_is_not_judged() -> None:
    tilted = sloped(30, bump_mm=40)
    assert level(tilted, ZONE, 0, LevelTolerance(None, None)).verdict == "yes"
    assert level(tilted, ZONE, 0, LevelTolerance(None, 5)).verdict == "no"
    assert level(tilted, ZONE, 0, LevelTolerance(31, None)).verdict == "yes"


def test_along_and_across_may_be_limited_apart() -> None:
    across_only = LevelTolerance(None, None, across_percent=0.5)
    assert level(sloped(1.2), ZONE, 0, across_only).verdict == "yes"
    found = level(sloped(1.2), ZONE, 90, across_only)
    assert found.verdict == "no"
    assert "across the vehicle" in found.says


@given(st.permutations(sloped(0.7, bump_mm=3)))
@settings(max_examples=20, deadline=None)
def test_the_order_of_readings_changes_nothing(points: list[tuple[float, float, float]]) -> None:
    one = level(sloped(0.7, bump_mm=3), ZONE, 10, ONE_PERCENT, reading_uncertainty_mm=0.5)
    other = level(points, ZONE, 10, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert other.verdict == one.verdict
    assert other.slope_percent == pytest.approx(one.slope_percent)
    assert other.slope_uncertainty_percent == pytest.approx(one.slope_uncertainty_percent)


def test_reading_every_place_four_times_halves_the_uncertainty_of_the_slope() -> None:
    once = level(sloped(0.7), ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    four = level(sloped(0.7) * 4, ZONE, 0, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert four.places == once.places == len(GRID)
    assert four.slope_percent == pytest.approx(once.slope_percent)
    assert four.slope_uncertainty_percent == pytest.approx(
        (once.slope_uncertainty_percent or math.nan) / 2
    )


def test_two_readings_of_one_place_that_differ_are_both_off_the_plane() -> None:
    points = [*sloped(0.0), (4000, 3000, 8.0)]
    found = level(points, ZONE, 0, ONE_PERCENT)
    assert found.worst_point == (4000, 3000)
    assert found.verdict == "no"


def test_three_places_have_a_slope_and_are_told_to_be_no_more() -> None:
    corners = [(0, 0, 0.0), (8000, 0, 8.0), (4000, 6000, 4.0)]
    found = level(corners, Polygon([(0, 0), (8000, 0), (4000, 6000)]), 0, ONE_PERCENT)
    assert found.verdict == "yes"
    assert found.deviation_uncertainty_mm == 0
    assert "Three places always lie on one plane" in found.says


def test_readings_outside_help_to_cover_the_zone_but_not_to_fit_it() -> None:
    # the grid ends 700 mm inside the zone's right edge, and goes on 300 mm outside it
    zone = rect(0, 0, 7700, 6000)
    inside = [(x, y, 0.0) for x, y in GRID if x <= 7000]
    assert level(inside, zone, 0, ONE_PERCENT).verdict == "unknown"
    beside = [(8000.0, float(y), 500.0) for y in range(0, 6001, 1000)]
    found = level([*inside, *beside], zone, 0, ONE_PERCENT)
    assert found.verdict == "yes"
    assert found.slope_percent == pytest.approx(0, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(3000, 6500), st.floats(5000, 11000), st.floats(0, 360),
    st.floats(0, 1000), st.floats(0, 1000),
)  # fmt: skip
def test_a_grid_of_one_metre_covers_every_zone_on_it(
    width: float, length: float, turn: float, dx: float, dy: float
) -> None:
    grid = [(x, y, 0.0) for x in range(0, 32_001, 1000) for y in range(0, 32_001, 1000)]
    zone = rotate(box(0, 0, width, length), turn, origin=(0, 0))
    found = level(grid, translate(zone, 15_000 + dx, 15_000 + dy), 0, ONE_PERCENT)
    assert found.verdict == "yes"


def test_what_is_left_out_is_named_with_its_place() -> None:
    found = level([(x, y, 0.0) for x, y in GRID if x <= 6000], ZONE, 0, ONE_PERCENT)
    assert found.left_out is not None
    x, y = found.left_out.middle
    assert 6500 <= x <= 8000
    assert 0 <= y <= 6000
    # 1.5 m of 8 m lie more than half a metre beyond the readings
    assert found.left_out.share_percent == pytest.approx(100 * 1.5 / 8, abs=0.1)


def test_us_shops_read_inches_and_feet() -> None:
    bumpy = level(sloped(0.2, bump_mm=25.4), ZONE, 0, ONE_PERCENT)
    assert "0.9" in level_words(bumpy, ONE_PERCENT, "us")
    assert "in off its plane" in level_words(bumpy, ONE_PERCENT, "us")
    half = level([(x, y, 0.0) for x, y in GRID if x <= 6000], ZONE, 0, ONE_PERCENT)
    assert " ft, y " in level_words(half, ONE_PERCENT, "us")


def test_figures_are_said_whatever_is_allowed() -> None:
    found = level(sloped(0.4), ZONE, 180, ONE_PERCENT, reading_uncertainty_mm=0.5)
    assert level_figures(found).startswith("Slopes 0.40 % (± 0.01 %): 0.40 % down ahead")


def test_nobody_has_surveyed_is_said() -> None:
    none = Level("unknown", "", reason="no_survey")
    assert level_words(none, ONE_PERCENT) == "Nobody has surveyed the floor there."


@pytest.mark.parametrize(
    ("value", "limit", "decimals", "told"),
    [
        (1.4, 1.0, 2, "1.40"),
        (1.004, 1.0, 2, "1.004"),  # 1.00 would not be over 1
        (0.996, 1.0, 2, "1.00"),  # 1.00 is still allowed
        (1.0, 1.0, 2, "1.00"),
        (7.0, None, 1, "7.0"),
    ],
)
def test_a_figure_is_told_on_its_own_side_of_the_limit(
    value: float, limit: float | None, decimals: int, told: str
) -> None:
    assert told_apart(value, limit, decimals) == told


@given(st.floats(0, 1000), st.integers(0, 3))
def test_an_uncertainty_is_never_said_smaller(value: float, decimals: int) -> None:
    told = float(rounded_up(value, decimals))
    assert told >= value - 1e-5
    assert told <= value + 10.0**-decimals + 1e-9


@given(st.floats(-50, 50), st.floats(0, 20), st.floats(-50, 50))
def test_one_limit_is_judged_like_its_mirror_image(
    value: float, uncertainty: float, limit: float
) -> None:
    most = against(value, uncertainty, least=None, most=limit)
    assert most == against(-value, uncertainty, least=-limit, most=None)
