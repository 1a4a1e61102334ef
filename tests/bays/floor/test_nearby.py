"""The best pose near one: against closed formulas in an empty hall."""

from __future__ import annotations

import math

import pytest

from bays.floor import ClearZone, FloorPlan, Pose, VehicleShape, check_pose, resolve
from bays.floor.nearby import best_near

CAR = VehicleShape(width_mm=1800, wheelbase_mm=2700, front_overhang_mm=900, rear_overhang_mm=1000)
BODY = resolve(ClearZone(()), CAR)


def hall(width: int, depth: int) -> FloorPlan:
    return FloorPlan.from_content(
        {
            "name": "Hall",
            "outline": [[0, 0], [width, 0], [width, depth], [0, depth]],
            "obstacles": [],
            "doors": [],
            "zones": [],
            "bays": [],
        }
    )


def test_pose_moves_to_the_middle_where_that_is_within_reach() -> None:
    # 6600 x 3800 leaves 1000 mm all round a body of 4600 x 1800 that stands in the middle.
    found = best_near(hall(6600, 3800), BODY, Pose(2500, 1500, 0))
    assert found is not None
    assert (found.pose.x_mm, found.pose.y_mm) == pytest.approx((2000, 1900), abs=1.5)
    assert found.margin_mm == pytest.approx(1000, abs=1.1)


def test_pose_out_of_reach_of_the_middle_goes_as_far_towards_it_as_it_may() -> None:
    plan = hall(40000, 40000)
    found = best_near(plan, BODY, Pose(3000, 2000, 0), within_mm=500)
    assert found is not None
    moved = math.dist((found.pose.x_mm, found.pose.y_mm), (3000, 2000))
    assert moved <= 500.01
    # Up by 500 mm is the most that the wall below can be left behind: 2000 - 900 + 500.
    assert found.margin_mm == pytest.approx(1600, abs=2)
    assert check_pose(plan, BODY, found.pose).margin_mm == pytest.approx(found.margin_mm, abs=0.1)


def test_no_room_at_this_heading_gives_nothing() -> None:
    assert best_near(hall(4700, 1900), BODY, Pose(1000, 900, 90)) is None
