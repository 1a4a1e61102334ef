"""Minutes from the shop's own history, beside numpy's quantiles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.planning.durations import ENOUGH, History, planned_minutes, quantile

minutes = st.lists(st.integers(1, 600).map(float), min_size=1, max_size=60)


@given(minutes, st.integers(50, 99))
def test_the_percentile_is_numpys_linear_one(took: list[float], percent: int) -> None:
    assert quantile(took, percent / 100) == pytest.approx(np.percentile(took, percent))


@given(minutes, st.integers(50, 99), st.integers(5, 300))
def test_what_is_planned_lies_between_the_percentile_and_the_edition(
    took: list[float], percent: int, edition: int
) -> None:
    planned = planned_minutes(took, percent, edition)
    least, most = sorted((float(np.percentile(took, percent)), float(edition)))
    assert planned % 5 == 0
    assert least - 0.01 <= planned < most + 5.01


def test_long_history_outweighs_the_edition_and_short_history_says_nothing() -> None:
    took = [40.0] * 392
    assert planned_minutes(took, 80, 90) == 45  # (392 * 40 + 8 * 90) / 400 = 41, on the grid
    history = History(80, {("calibration", "mats"): [40.0] * (ENOUGH - 1)})
    assert history.planned("calibration", "mats", 60, 5) is None


def test_it_says_how_many_were_done_in_the_minutes_planned() -> None:
    took = [40.0, 42.0, 44.0, 45.0, 46.0, 48.0, 50.0, 52.0, 55.0, 90.0]
    told = History(80, {("pre_scan", ""): took}).planned("pre_scan", "", 50, 5)
    assert told is not None
    assert told.minutes == 55  # numpy: 52.6; (10 * 52.6 + 8 * 50) / 18 = 51.4, on the grid
    assert told.says == "planned at 55 min: 9 of the last 10 were done in that"


def test_it_is_never_less_than_the_second_person_stays() -> None:
    told = History(80, {("calibration", "x"): [5.0] * 200}).planned("calibration", "x", 20, 35)
    assert told is not None
    assert told.minutes == 35
