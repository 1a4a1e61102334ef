"""That reverse gear is needed is said only where it is proven."""

from __future__ import annotations

import pytest

from bays.floor import FloorPlan, Pose
from bays.floor.drive import Drive, drive_between, reversing_needed
from tests.bays.floor.cases import drawing, rect
from tests.bays.floor.halls import (
    CAR_P,
    CAR_P_RADIUS_MM,
    RADIUS_MM,
    VAN,
    corner,
    workshop,
)


def test_standing_nose_out_in_a_closed_bay_needs_reverse() -> None:
    plan = FloorPlan.from_content(workshop())
    start, goal = Pose(9000, 10_000, 0), Pose(33_000, 1500, 90)
    assert reversing_needed(plan, VAN, RADIUS_MM, start, goal) is True


def test_standing_nose_in_does_not() -> None:
    plan = FloorPlan.from_content(workshop())
    start, goal = Pose(9000, 10_000, 0), Pose(33_000, 4300, 270)
    assert reversing_needed(plan, VAN, RADIUS_MM, start, goal) is False


def test_leaving_a_dead_end_needs_reverse() -> None:
    hall = FloorPlan.from_content(drawing(rect(0, 0, 12_000, 3000)))
    start, goal = Pose(7500, 1500, 0), Pose(2000, 1500, 0)
    assert reversing_needed(hall, VAN, RADIUS_MM, start, goal) is True
    assert reversing_needed(hall, VAN, RADIUS_MM, goal, start) is False


@pytest.mark.parametrize("width", [3800, 3900])
def test_tight_corner_needs_reverse(width: int) -> None:
    plan, start, goal = corner(width)
    assert isinstance(drive_between(plan, CAR_P, CAR_P_RADIUS_MM, start, goal), Drive)
    assert reversing_needed(plan, CAR_P, CAR_P_RADIUS_MM, start, goal) is True


@pytest.mark.parametrize("width", [4200, 4300, 4500, 4692])
def test_corner_that_one_arc_passes_is_never_said_to_need_reverse(width: int) -> None:
    # an arc whose centre lies r + width / 2 from one outer wall and r_out from the other, with
    # room for the tail to swing out, clears the inner corner from 4.195 m on
    plan, start, goal = corner(width)
    assert reversing_needed(plan, CAR_P, CAR_P_RADIUS_MM, start, goal) is not True
