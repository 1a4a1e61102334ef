from __future__ import annotations

import math
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import (
    ClearZone,
    ClearZoneFaults,
    FloorPlan,
    VehicleFaults,
    VehicleShape,
    best_fit,
    resolve,
)
from tests.bays.floor import brute
from tests.bays.floor.cases import HATCHBACK, drawing, parts_of, rect, ring

FOOT = 304.8
# AASHTO, A Policy on Geometric Design of Highways and Streets, design passenger car P: 19 ft long,
# 7 ft wide, wheelbase 11 ft, front overhang 3 ft, rear overhang 5 ft. From memory.
DESIGN_CAR = VehicleShape(7 * FOOT, 11 * FOOT, 3 * FOOT, 5 * FOOT)


def test_design_passenger_car_is_nineteen_feet_by_seven() -> None:
    west, south, east, north = DESIGN_CAR.body().bounds
    assert DESIGN_CAR.length_mm == pytest.approx(5791.2)
    assert (east - west, north - south) == pytest.approx((5791.2, 2133.6))


def test_design_passenger_car_fits_its_own_box_and_no_smaller_one() -> None:
    alone = resolve(ClearZone(()), DESIGN_CAR)
    snug = FloorPlan.from_content(drawing(rect(0, 0, 5792, 2134)))
    assert best_fit(snug, alone, [0, 180]) is not None
    assert best_fit(snug, alone, [90]) is None
    for small in (rect(0, 0, 5791, 2134), rect(0, 0, 5792, 2133)):
        assert best_fit(FloorPlan.from_content(drawing(small)), alone, [0, 180]) is None


@pytest.mark.parametrize(
    ("datum", "expected"),
    [
        ("rear_axle", 0),
        ("front_axle", 2850),
        ("front", 3800),
        ("rear", -1050),
        ("centreline", 0),
        ("left", 950),
        ("right", -950),
        ("left_tyre", 905),
        ("right_tyre", -905),
    ],
)
def test_datums_lie_where_the_vehicle_has_them(datum: str, expected: float) -> None:
    assert VehicleShape(1900, 2850, 950, 1050, 1810).datum_mm(datum) == expected


def test_tyres_stand_at_the_body_sides_when_their_track_is_not_known() -> None:
    assert HATCHBACK.datum_mm("left_tyre") == HATCHBACK.datum_mm("left")


def test_body_is_always_one_of_the_parts() -> None:
    (body,) = resolve(ClearZone(()), HATCHBACK)
    assert body.name == "body"
    assert body.polygon.equals(HATCHBACK.body())


def test_needed_margin_is_position_tolerance_plus_arm_times_angle() -> None:
    parts = parts_of(0, 2000, 0, position_tolerance_mm=50, angle_tolerance_deg=0.5)
    arm = math.hypot(5800, 950)
    assert {part.needs_mm for part in parts} == {50 + arm * math.radians(0.5)}


@settings(max_examples=60, deadline=None)
@given(st.floats(-180, 180), st.floats(1, 180), st.floats(200, 9000))
def test_sector_holds_every_point_of_its_disc_slice_and_little_more(
    bearing: float, half_angle: float, reach: float
) -> None:
    sector = {
        "x": {"datum": "rear_axle", "offset_mm": 0},
        "y": {"datum": "centreline", "offset_mm": 0},
        "bearing_deg": bearing,
        "half_angle_deg": half_angle,
        "range_mm": reach,
    }
    parts = resolve(ClearZone.from_content({"parts": [{"sector": sector}]}), HATCHBACK)[1:]
    drawn = shapely.union_all([part.polygon for part in parts])
    points = brute.sector_points((0, 0), bearing, half_angle, reach)
    assert shapely.distance(drawn, shapely.points(points)).max() < 1e-6
    exact = math.radians(half_angle) * reach**2
    assert exact <= drawn.area * (1 + 1e-9)
    assert drawn.area - exact <= 2.1 * math.radians(2 * half_angle) * reach + 10
    for part in parts:
        assert part.polygon.area == pytest.approx(part.polygon.convex_hull.area)


PLACE = {"datum": "rear", "offset_mm": 0}
SIDE = {"datum": "left", "offset_mm": 0}
RECT = {
    "from_x": PLACE,
    "to_x": {"datum": "front"},
    "from_y": {"datum": "right"},
    "to_y": SIDE,
}
SECTOR = {"x": PLACE, "y": SIDE, "bearing_deg": 0, "half_angle_deg": 30, "range_mm": 4000}


@pytest.mark.parametrize(
    ("content", "paths"),
    [
        ({}, {"parts"}),
        ({"parts": {}}, {"parts"}),
        ({"parts": [7]}, {"parts[0]"}),
        ({"parts": [{}]}, {"parts[0]"}),
        ({"parts": [{"rect": RECT, "sector": SECTOR}]}, {"parts[0]"}),
        ({"parts": [{"circle": 1}]}, {"parts[0].circle"}),
        # a side datum on the long axis
        ({"parts": [{"rect": {**RECT, "from_x": SIDE}}]}, {"parts[0].rect.from_x.datum"}),
        ({"parts": [{"rect": {**RECT, "to_y": 3}}]}, {"parts[0].rect.to_y"}),
        (
            {"parts": [{"rect": {**RECT, "to_x": {"datum": "front", "offset_mm": "1 m"}}}]},
            {"parts[0].rect.to_x.offset_mm"},
        ),
        # both faults are told
        (
            {"parts": [{"sector": {**SECTOR, "half_angle_deg": 181, "range_mm": -1}}]},
            {"parts[0].sector.half_angle_deg", "parts[0].sector.range_mm"},
        ),
        ({"parts": [], "position_tolerance_mm": -1}, {"position_tolerance_mm"}),
        ({"parts": [], "angle_tolerance_deg": float("nan")}, {"angle_tolerance_deg"}),
        ({"parts": [], "position_tolerance_mm": True}, {"position_tolerance_mm"}),
    ],
)
def test_clear_zone_faults_are_all_told_with_their_paths(
    content: dict[str, Any], paths: set[str]
) -> None:
    with pytest.raises(ClearZoneFaults) as refused:
        ClearZone.from_content(content)
    assert {error.path for error in refused.value.errors} == paths


def test_rectangle_that_is_empty_for_this_vehicle_is_refused() -> None:
    with pytest.raises(ClearZoneFaults) as refused:
        resolve(ring(-3000, -3000, 0), HATCHBACK)
    assert refused.value.errors[0].path == "parts[0].rect"


@pytest.mark.parametrize(
    "sizes", [(0, 2850, 950, 1050), (1900, -1, 950, 1050), (1900, 2850, -1, math.inf)]
)
def test_impossible_vehicles_are_refused(sizes: tuple[float, float, float, float]) -> None:
    with pytest.raises(VehicleFaults):
        VehicleShape(*sizes)
