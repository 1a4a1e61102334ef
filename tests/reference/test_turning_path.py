"""The turning path of the AASHTO design passenger car P.

A Policy on Geometric Design of Highways and Streets (the "Green Book"), from memory of the editions
of 2011 and 2018: design vehicle P is 19 ft long and 7 ft wide with a wheelbase of 11 ft, overhangs
of 3 ft at the front and 5 ft at the rear; table of minimum turning radii: minimum design turning
radius 24 ft (path of the outer front wheel), centreline turning radius 21 ft (path of the middle of
the front axle), minimum inside radius 14.4 ft.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.geometry import Point

from bays.floor import Pose, VehicleShape
from bays.floor.motion import Piece, drawn_out, rear_axle_radius_mm, turning_path
from bays.floor.swept import swept_floor

FOOT = 304.8
CAR_P = VehicleShape(7 * FOOT, 11 * FOOT, 3 * FOOT, 5 * FOOT)
CENTRELINE = 21 * FOOT
# The middle of the front axle is a wheelbase ahead of the rear axle's line.
REAR_AXLE = math.sqrt(CENTRELINE**2 - CAR_P.wheelbase_mm**2)


def _driven(turn_deg: float) -> list[tuple[float, float, float]]:
    arc = Piece(1 / REAR_AXLE, REAR_AXLE * math.radians(turn_deg))
    return [pose[:3] for pose in drawn_out(Pose(0.0, -REAR_AXLE, 0.0), [arc])]


def _radii(turn_deg: float, ahead: float, left: float) -> np.ndarray:
    """Distances from the turning point of a point of the vehicle while it drives the arc."""
    x, y, heading = np.array(_driven(turn_deg)).T
    c, s = np.cos(np.radians(heading)), np.sin(np.radians(heading))
    return np.hypot(x + ahead * c - left * s, y + ahead * s + left * c)


@pytest.mark.parametrize("turn_deg", [90, 180])
def test_wheel_paths_keep_to_the_published_radii(turn_deg: float) -> None:
    front_middle = _radii(turn_deg, CAR_P.wheelbase_mm, 0)
    assert front_middle / FOOT == pytest.approx(21.0, abs=0.001)
    # published to 0.1 ft; the inner rear wheel runs along the body's inner side
    inner_rear = _radii(turn_deg, 0, CAR_P.width_mm / 2)
    assert inner_rear / FOOT == pytest.approx(14.4, abs=0.05)
    # published as a whole number of feet, the outer front wheel along the body's outer side
    outer_front = _radii(turn_deg, CAR_P.wheelbase_mm, -CAR_P.width_mm / 2)
    assert outer_front / FOOT == pytest.approx(24.0, abs=0.1)


@pytest.mark.parametrize("turn_deg", [90, 180])
def test_swept_floor_lies_in_the_ring_that_the_body_covers(turn_deg: float) -> None:
    arc = Piece(1 / REAR_AXLE, REAR_AXLE * math.radians(turn_deg))
    swept = swept_floor(CAR_P, Pose(0.0, -REAR_AXLE, 0.0), [arc])
    ring = turning_path(CAR_P, REAR_AXLE)
    corners = np.array(swept.exterior.coords)
    distance = np.hypot(*corners.T)
    assert distance.max() == pytest.approx(math.hypot(REAR_AXLE + 3.5 * FOOT, 14 * FOOT), abs=1)
    assert distance.max() == pytest.approx(ring.outer_front_corner_mm, abs=1)
    assert swept.distance(Point(0, 0)) == pytest.approx(ring.inner_mm, abs=1)
    assert ring.inner_mm / FOOT == pytest.approx(14.4, abs=0.05)


def test_rear_axle_radius_follows_from_the_quoted_turning_circle() -> None:
    # Ackermann steering: the outer front wheel is wheelbase ahead and half a track outside
    diameter = 2 * math.hypot(REAR_AXLE + CAR_P.width_mm / 2, CAR_P.wheelbase_mm)
    assert diameter / FOOT == pytest.approx(48.0, abs=0.2)
    radius = rear_axle_radius_mm(diameter, CAR_P.wheelbase_mm, CAR_P.width_mm)
    assert radius == pytest.approx(REAR_AXLE)


def test_width_of_a_corner_passed_on_one_full_quarter_circle() -> None:
    # a ring r_in..r_out touching both outer walls clears the inner corner at
    # w = r_out - r_in / sqrt(2): the corner then lies on the inner circle, on the diagonal
    ring = turning_path(CAR_P, REAR_AXLE)
    width = ring.outer_front_corner_mm - ring.inner_mm / math.sqrt(2)
    assert width == pytest.approx(4691, abs=1)
    corner = ring.outer_front_corner_mm - width
    assert math.hypot(corner, corner) == pytest.approx(ring.inner_mm)
