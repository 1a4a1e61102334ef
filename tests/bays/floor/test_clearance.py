"""The exact configuration space against point sampling, and what must hold of any floor."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import ClearZone, FloorPlan, Part, best_fit, check_pose, feasible, resolve
from bays.floor.placement import Pose
from tests.bays.floor import brute
from tests.bays.floor.cases import (
    HATCHBACK,
    case_parts,
    drawing,
    parts_of,
    plan_of,
    read_case,
    rect,
)

ELL = [[0, 0], [12000, 0], [12000, 7000], [7000, 7000], [7000, 11000], [0, 11000]]
CORNER_POST = [[0, 0], [900, 0], [900, 300], [300, 300], [300, 900], [0, 900]]

REAR, FRONT, SIDE = 400, 900, 500
COARSE = 150.0
SECTOR = {
    "x": {"datum": "front", "offset_mm": 0},
    "y": {"datum": "centreline", "offset_mm": 0},
    "bearing_deg": 20,
    "half_angle_deg": 75,
    "range_mm": 1800,
}


def _parts(with_sector: bool) -> tuple[Part, ...]:
    edges = {
        "from_x": {"datum": "rear", "offset_mm": -REAR},
        "to_x": {"datum": "front", "offset_mm": FRONT},
        "from_y": {"datum": "right", "offset_mm": -SIDE},
        "to_y": {"datum": "left", "offset_mm": SIDE},
    }
    parts: list[dict[str, Any]] = [{"rect": edges}]
    if with_sector:
        parts.append({"sector": SECTOR})
    return resolve(ClearZone.from_content({"parts": parts}), HATCHBACK)


def _sampled(with_sector: bool) -> np.ndarray:
    whole = brute.rect_points(-1050 - REAR, -950 - SIDE, 3800 + FRONT, 950 + SIDE)
    if not with_sector:
        return whole
    return np.concatenate([whole, brute.sector_points((3800, 0), 20, 75, 1800)])


@st.composite
def floors(draw: st.DrawFn) -> dict[str, Any]:
    outline = draw(st.sampled_from([rect(0, 0, 12000, 9000), ELL]))
    shapes = []
    for i in range(draw(st.integers(0, 3))):
        x, y = draw(st.integers(0, 11500)), draw(st.integers(0, 8500))
        if draw(st.booleans()):
            shape = [[x + a, y + b] for a, b in CORNER_POST]
        else:
            shape = rect(x, y, x + draw(st.integers(100, 900)), y + draw(st.integers(100, 900)))
        if shapely.Polygon(shape).intersects(shapely.Polygon(outline)):
            shapes.append({"id": f"C{i}", "kind": "column", "polygon": shape})
    return drawing(outline, obstacles=shapes)


HEADINGS = st.one_of(st.sampled_from([0.0, 90.0, 180.0, 270.0]), st.floats(0, 359.9))


@settings(max_examples=60, deadline=None)
@given(floors(), HEADINGS, st.booleans(), st.floats(0, 1), st.floats(0, 360), st.data())
def test_free_and_blocked_poses_agree_with_point_sampling(
    content: dict[str, Any],
    heading: float,
    with_sector: bool,
    along: float,
    way: float,
    data: st.DataObject,
) -> None:
    plan = FloorPlan.from_content(content)
    region = feasible(plan, _parts(with_sector), heading)
    solids = [entry["polygon"] for entry in content["obstacles"]]
    x, y = data.draw(st.tuples(st.floats(0, 12000), st.floats(0, 11000)))
    poses = [(x, y)]
    if not region.empty:
        # poses just beside the edge of the region are where an error would show
        edge = region.free.boundary.interpolate(along, normalized=True)
        a = np.radians(way)
        poses += [(edge.x + r * np.cos(a), edge.y + r * np.sin(a)) for r in (5, 100)]
    for pose in poses:
        points = brute.placed(_sampled(with_sector), *pose, heading)
        deep = brute.blocked_mm(points, content["outline"], solids)
        if shapely.contains_xy(region.free, *pose):
            assert deep <= 0.1
        else:
            # an overlap holds a point no farther than a step from some sampled one; a sector's
            # chords may block 2 mm more than its arc
            assert deep >= -brute.STEP - 2.5


@settings(max_examples=15, deadline=None)
@given(floors(), st.sampled_from([0.0, 90.0, 37.0, 211.5]))
def test_no_sampled_pose_beats_the_best_margin(content: dict[str, Any], heading: float) -> None:
    plan = FloorPlan.from_content(content)
    parts = _parts(with_sector=False)
    solids = [entry["polygon"] for entry in content["obstacles"]]
    points = brute.rect_points(-1050 - REAR, -950 - SIDE, 3800 + FRONT, 950 + SIDE, COARSE)
    west, south, east, north = plan.outline.bounds
    sampled = [
        -brute.blocked_mm(brute.placed(points, x, y, heading), content["outline"], solids)
        for x in np.arange(west + 400, east, 800)
        for y in np.arange(south + 400, north, 800)
    ]
    fit = best_fit(plan, parts, [heading])
    if fit is None:
        assert max(sampled) <= COARSE
        return
    assert max(sampled) - COARSE <= fit.margin_mm + 1
    at_best = brute.placed(points, fit.pose.x_mm, fit.pose.y_mm, heading)
    room = -brute.blocked_mm(at_best, content["outline"], solids)
    assert fit.margin_mm - 0.2 <= room <= fit.margin_mm + COARSE
    assert check_pose(plan, parts, fit.pose).margin_mm == pytest.approx(fit.margin_mm, abs=0.05)


def _turned(points: list[list[int]], degrees: float) -> list[list[int]]:
    a = np.radians(degrees)
    c, s = np.cos(a), np.sin(a)
    return [[round(x * c - y * s), round(x * s + y * c)] for x, y in points]


@settings(max_examples=25, deadline=None)
@given(floors(), st.sampled_from([0.0, 90.0, 25.0]), st.sampled_from([90.0, 180.0, 30.0, 101.7]))
def test_turning_floor_and_heading_together_changes_nothing(
    content: dict[str, Any], heading: float, by: float
) -> None:
    parts = parts_of(REAR, FRONT, SIDE)
    turned = drawing(
        _turned(content["outline"], by),
        obstacles=[{**o, "polygon": _turned(o["polygon"], by)} for o in content["obstacles"]],
    )
    before = best_fit(FloorPlan.from_content(content), parts, [heading])
    after = best_fit(FloorPlan.from_content(turned), parts, [heading + by])
    # corners were rounded to whole millimetres: 0.71 mm at each of two sides, and 1 mm of search
    rounding = 2.5
    if before is None or after is None:
        assert (before or after) is None or (before or after).margin_mm < rounding  # type: ignore[union-attr]
    else:
        assert after.margin_mm == pytest.approx(before.margin_mm, abs=rounding)


@settings(max_examples=25, deadline=None)
@given(floors(), HEADINGS)
def test_a_mirrored_floor_gives_the_mirrored_answer(
    content: dict[str, Any], heading: float
) -> None:
    parts = parts_of(REAR, FRONT, SIDE)
    mirrored = drawing(
        [[-x, y] for x, y in content["outline"]],
        obstacles=[
            {**o, "polygon": [[-x, y] for x, y in o["polygon"]]} for o in content["obstacles"]
        ],
    )
    here = feasible(FloorPlan.from_content(content), parts, heading)
    there = feasible(FloorPlan.from_content(mirrored), parts, 180 - heading)
    assert there.free.area == pytest.approx(here.free.area, rel=1e-6, abs=1)


@settings(max_examples=40, deadline=None)
@given(floors(), HEADINGS, st.integers(1, 800))
def test_growing_an_obstacle_never_helps(content: dict[str, Any], heading: float, by: int) -> None:
    parts = parts_of(REAR, FRONT, SIDE)
    larger = [
        {**o, "polygon": [[round(x), round(y)] for x, y in _grown(o["polygon"], by)]}
        for o in content["obstacles"]
    ]
    before = feasible(FloorPlan.from_content(content), parts, heading)
    after = feasible(FloorPlan.from_content({**content, "obstacles": larger}), parts, heading)
    assert after.free.difference(before.free).area < 1
    fits = [
        best_fit(FloorPlan.from_content(c), parts, [heading])
        for c in (content, {**content, "obstacles": larger})
    ]
    if fits[1] is not None:
        assert fits[0] is not None
        assert fits[1].margin_mm <= fits[0].margin_mm + 1


def _grown(polygon: list[list[int]], by: int) -> list[tuple[float, float]]:
    shape = shapely.Polygon(polygon).buffer(by, join_style="mitre")
    return list(shape.exterior.coords[:-1])


def test_room_of_exactly_the_zone_fits_and_one_millimetre_less_does_not() -> None:
    case = read_case("room_of_exactly_the_zone")
    fit = best_fit(plan_of(case), case_parts(case), [0])
    assert fit is not None
    assert fit.margin_mm == pytest.approx(0, abs=1)
    assert (fit.pose.x_mm, fit.pose.y_mm) == pytest.approx((2050, 1500), abs=2)
    for outline in (rect(0, 0, 7849, 3000), rect(0, 0, 7850, 2999)):
        plan = FloorPlan.from_content(drawing(outline))
        assert best_fit(plan, case_parts(case), [0]) is None
        assert feasible(plan, case_parts(case), 0).empty


def test_margin_in_an_empty_room_is_half_the_room_to_spare() -> None:
    plan = FloorPlan.from_content(drawing(rect(0, 0, 10000, 4000)))
    fit = best_fit(plan, parts_of(500, 500, 300), [180])
    assert fit is not None
    assert fit.margin_mm == pytest.approx(750, abs=1)
    assert fit.pose.y_mm == pytest.approx(2000, abs=1)


def test_region_of_a_room_is_the_room_less_the_zone() -> None:
    plan = FloorPlan.from_content(drawing(rect(0, 0, 10000, 6000)))
    free = feasible(plan, parts_of(500, 500, 300), 90).free
    assert free.bounds == pytest.approx((1250, 1550, 8750, 6000 - 4300), abs=0.02)
    assert free.area == pytest.approx(7500 * 150, rel=1e-3)


def test_an_obstacle_between_two_parts_that_lie_apart_blocks_neither() -> None:
    target = {
        "from_x": {"datum": "front", "offset_mm": 2000},
        "to_x": {"datum": "front", "offset_mm": 3000},
        "from_y": {"datum": "centreline", "offset_mm": -500},
        "to_y": {"datum": "centreline", "offset_mm": 500},
    }
    parts = resolve(ClearZone.from_content({"parts": [{"rect": target}]}), HATCHBACK)
    post = {"id": "P", "kind": "post", "polygon": rect(6000, 2400, 6200, 2600)}
    plan = FloorPlan.from_content(drawing(rect(0, 0, 12000, 5000), obstacles=[post]))
    assert check_pose(plan, parts, Pose(1500, 2500, 0)).ok
    assert shapely.contains_xy(feasible(plan, parts, 0).free, 1500, 2500)
    assert not check_pose(plan, parts, Pose(3500, 2500, 0)).ok


def test_a_hole_in_the_floor_is_not_floor() -> None:
    plain = drawing(rect(0, 0, 12000, 6000))
    pit = {**plain, "holes": [rect(5000, 2500, 7000, 3500)]}
    parts = parts_of(100, 100, 100)
    assert best_fit(FloorPlan.from_content(plain), parts, [0]).margin_mm > 1900  # type: ignore[union-attr]
    region = feasible(FloorPlan.from_content(pit), parts, 0)
    assert not shapely.contains_xy(region.free, 4500, 3000)
    # astride the pit, no corner of the vehicle is in it
    assert not shapely.contains_xy(region.free, 4600, 3000)


def test_regions_are_worked_out_once() -> None:
    parts = parts_of(300, 300, 300)
    content = drawing(rect(0, 0, 9000, 6000))
    first = feasible(FloorPlan.from_content(content), parts, 12.5)
    assert feasible(FloorPlan.from_content(content), parts, 372.5) is first


@pytest.mark.parametrize("half_angle_deg", [0.1, 0.5, 1.0, 5.0])
def test_margin_before_the_tip_of_a_thin_sector_is_the_distance_on_the_drawing(
    half_angle_deg: float,
) -> None:
    # the sector's tip, at the middle of the rear bumper, is what comes nearest to the wall
    tip = {"x": {"datum": "rear", "offset_mm": -2000}, "y": {"datum": "centreline", "offset_mm": 0}}
    angles = {"bearing_deg": 0, "half_angle_deg": half_angle_deg, "range_mm": 1500}
    zone = ClearZone.from_content({"parts": [{"sector": {**tip, **angles}}]})
    parts = resolve(zone, HATCHBACK)
    plan = FloorPlan.from_content(drawing(rect(0, 0, 20000, 10000)))
    region = feasible(plan, parts, 0)
    west = region.free.bounds[0]
    reach = -min(x for part in parts for x, _ in part.ring)
    assert west == pytest.approx(reach, abs=0.06)
