"""The map of a survey: to scale, lines where they belong, marks that differ in shape."""

from __future__ import annotations

import re

import numpy as np
import pytest

from bays import floor
from bays.convert.survey_map import Sheet, blank_map, contours, fall, worst
from tests.bays.services.shop_file import FLOOR

PLAN = floor.FloorPlan.from_content(FLOOR)  # 10 by 8 m
GRID = [(x, y) for x in range(0, 10_001, 1000) for y in range(0, 8001, 1000)]


def numbers(path: str) -> np.ndarray:
    return np.array([float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path)]).reshape(-1, 2)


def test_one_scale_both_ways_and_y_runs_up_the_plan() -> None:
    sheet = Sheet(PLAN)
    low, right, up = sheet.at(0, 0), sheet.at(1000, 0), sheet.at(0, 1000)
    assert right[0] - low[0] == pytest.approx(low[1] - up[1], abs=0.2)
    assert up[1] < low[1]


def test_lines_of_a_plane_lie_where_its_heights_are() -> None:
    # heights rise 6 mm a metre along x: 0 to 60 mm in steps of 10, each line at its own x
    readings = np.array([(x, y, 0.006 * x) for x, y in GRID])
    sheet = Sheet(PLAN)
    found = contours(sheet, readings, 1.0)
    assert [line.text for line in found] == ["10", "20", "30", "40", "50"] or [
        line.text for line in found
    ] == ["0", "10", "20", "30", "40", "50"]
    for line in found:
        x = sheet.at(float(line.text) / 0.006, 0)[0]
        assert np.allclose(numbers(line.path)[:, 0], x, atol=0.2)


def test_lines_in_inches_are_the_same_lines() -> None:
    readings = np.array([(x, y, 0.00254 * x) for x, y in GRID])  # 25.4 mm over 10 m
    found = contours(Sheet(PLAN), readings, 25.4)
    assert {line.text for line in found} >= {"0.2", "0.4", "0.8"}


def test_no_line_is_drawn_across_what_was_not_read() -> None:
    left = [(x, y, 0.01 * x) for x, y in GRID if x <= 3000]
    right = [(x, y, 0.01 * x) for x, y in GRID if x >= 8000]
    sheet = Sheet(PLAN)
    for line in contours(sheet, np.array([*left, *right]), 1.0):
        xs = numbers(line.path)[:, 0]
        assert not ((xs > sheet.at(3100, 0)[0]) & (xs < sheet.at(7900, 0)[0])).any()


def test_readings_on_one_line_have_no_lines() -> None:
    readings = np.array([(x, 2 * x, x) for x in range(0, 4000, 500)], dtype=float)
    assert contours(Sheet(PLAN), readings, 1.0) == ()


def test_the_arrow_points_down_the_slope_and_keeps_off_the_ring() -> None:
    sheet = Sheet(PLAN)
    area = PLAN.bays[0].area
    middle = (2500.0, 4000.0)
    ring = worst(sheet, middle, "+3.0", blank_map(PLAN, "", "", "metric").bays)
    arrow = fall(sheet, area, (-1.0, 0.0), "0.50 %", ring)  # type: ignore[arg-type]
    assert arrow.end[0] < arrow.start[0]
    assert arrow.end[1] == arrow.start[1]
    assert max(abs(arrow.at[0] - ring.x), abs(arrow.at[1] - ring.y)) > 30


def test_words_at_a_ring_keep_off_the_name_of_its_bay() -> None:
    sheet, picture = Sheet(PLAN), blank_map(PLAN, "", "", "metric")
    name = picture.bays[0]
    beside = worst(sheet, (0.0, 7900.0), "+3.0", picture.bays)
    away = abs(beside.at[1] - name.at[1]) >= 17
    assert away or (beside.anchor == "end" and beside.at[0] < name.at[0])


@pytest.mark.parametrize(("units", "text"), [("metric", "2 m"), ("us", "5 ft")])
def test_the_scale_bar_is_a_round_length(units: str, text: str) -> None:
    picture = blank_map(PLAN, "", "", units)
    assert picture.bar_text == text
    length_mm = 2000 if units == "metric" else 5 * 304.8
    assert picture.bar_width == pytest.approx(length_mm * Sheet(PLAN).scale, abs=0.1)
