"""All headings: narrow windows are found, nowhere is proven, and nothing beats the answer."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import (
    FloorPlan,
    Part,
    Placement,
    Pose,
    Search,
    check_pose,
    placements,
    search_fit,
    search_placements,
)
from tests.bays.floor.cases import bay, column, drawing, parts_of, rect, zone
from tests.bays.floor.test_placement import TWO_BAYS

# 5.85 x 2.9 m with a hatchback inside
PARTS = parts_of(500, 500, 500)
LENGTH, WIDTH = 5850, 2900


def _sets(found: Search) -> set[frozenset[str]]:
    return {frozenset(p.zones) for p in found.placements}


def _at(points: list[list[float]], degrees: float, x: float = 0, y: float = 0) -> Any:
    a = math.radians(degrees)
    c, s = math.cos(a), math.sin(a)
    return [[round(x + px * c - py * s), round(y + px * s + py * c)] for px, py in points]


def _slot(degrees: float, spare: float, length: float = 20000) -> FloorPlan:
    """A hall all but filled by two blocks, with a straight lane between them at this heading."""
    half = (WIDTH + spare) / 2
    blocks = [
        {
            "id": name,
            "kind": "wall",
            "polygon": _at(
                [
                    [-length, sign * half],
                    [length, sign * half],
                    [length, sign * (half + 9000)],
                    [-length, sign * (half + 9000)],
                ],
                degrees,
                10000,
                10000,
            ),
        }
        for name, sign in (("upper", 1), ("lower", -1))
    ]
    return FloorPlan.from_content(drawing(rect(4000, 4000, 16000, 16000), obstacles=blocks))


@pytest.mark.parametrize("window_deg", [1.0, 0.2])
@pytest.mark.parametrize("heading", [37.3, 121.9])
def test_a_narrow_window_of_headings_is_found(heading: float, window_deg: float) -> None:
    # in a lane w wide a rectangle a x b may turn by t while a sin t + b cos t <= w
    t = math.radians(window_deg / 2)
    spare = LENGTH * math.sin(t) + WIDTH * math.cos(t) - WIDTH
    found = search_fit(_slot(heading, spare), PARTS)
    assert found.fit is not None
    off = (found.fit.pose.heading_deg - heading + 90) % 180 - 90
    assert abs(off) <= window_deg / 2 + 0.02
    # corners of the lane are whole millimetres
    assert found.fit.margin_mm == pytest.approx(spare / 2, abs=2)


@pytest.mark.parametrize("heading", [0, 90, 45])
def test_a_lane_of_exactly_the_width_is_found_though_only_one_heading_will_do(
    heading: float,
) -> None:
    if heading == 45:
        # corners on whole millimetres, sides at 45 degrees exactly: 4101.2 wide at the least
        plan = FloorPlan.from_content(drawing([[0, 0], [9000, 9000], [6949, 11051], [-2051, 2051]]))
        assert search_fit(plan, PARTS).fit is not None
        return
    ring = rect(0, 0, 9000, WIDTH) if heading == 0 else rect(0, 0, WIDTH, 9000)
    found = search_fit(FloorPlan.from_content(drawing(ring)), PARTS)
    assert found.fit is not None
    assert found.fit.margin_mm == pytest.approx(0, abs=0.1)
    # 0.01 mm of touching over 5.85 m
    assert found.fit.pose.heading_deg % 180 == pytest.approx(heading, abs=1e-4)


def test_a_lane_one_millimetre_too_narrow_is_proven_to_hold_nothing() -> None:
    plan = FloorPlan.from_content(drawing(rect(0, 0, 9000, WIDTH - 1)))
    found = search_fit(plan, PARTS)
    assert found.fit is None
    assert found.proven
    searched = search_placements(plan, PARTS, anywhere=True)
    assert searched.placements == ()
    assert searched.proven


def _square_around(turned_rad: float) -> float:
    c, s = math.cos(turned_rad), math.sin(turned_rad)
    return max(LENGTH * c + WIDTH * s, LENGTH * s + WIDTH * c)


@pytest.mark.parametrize("over", [3, -3])
@pytest.mark.parametrize("share", [0.0, 0.2, 0.35, 0.45])
def test_a_square_room_holds_a_rectangle_at_just_the_headings_of_the_formula(
    share: float, over: int
) -> None:
    """a x b fits turned by t in a square of side s if a cos t + b sin t <= s and a sin t + b cos t
    <= s: elementary, the shadows of the rectangle on both walls."""
    t = share * math.pi / 2
    side = math.ceil(_square_around(t)) + over
    least = min(_square_around(u) for u in np.radians(np.linspace(0, 90, 9001)))
    found = search_fit(FloorPlan.from_content(drawing(rect(0, 0, side, side))), PARTS)
    if side < least:
        assert found.fit is None
        assert found.proven
        return
    assert found.fit is not None
    assert found.fit.margin_mm == pytest.approx((side - least) / 2, abs=1)


@pytest.mark.parametrize("degrees", [17.3, 88.8])
def test_a_room_turned_by_an_odd_angle_has_the_same_margin(degrees: float) -> None:
    room = [[0.0, 0.0], [9000.0, 0.0], [9000.0, 3600.0], [0.0, 3600.0]]
    square = search_fit(FloorPlan.from_content(drawing(_at(room, 0))), PARTS).fit
    turned = search_fit(FloorPlan.from_content(drawing(_at(room, degrees))), PARTS).fit
    assert square is not None
    assert turned is not None
    assert turned.margin_mm == pytest.approx(square.margin_mm, abs=2)


def test_a_bay_too_narrow_for_its_own_heading_is_used_askew() -> None:
    # 1.6 m across and 2 m along between the blocks' corners: 2.56 m for a slanting vehicle
    content = drawing(
        rect(0, 0, 7000, 7000),
        zones=[zone("B1", 0, 0, 7000, 7000)],
        bays=[bay("1", ["B1"], [3500, 3500])],
        obstacles=[
            column("C1", 0, 4500, 2700, 7000),
            column("C2", 4300, 0, 7000, 2500),
        ],
    )
    plan = FloorPlan.from_content(content)
    body = parts_of(50, 50, 50)
    (askew,) = search_placements(plan, body).placements
    assert askew.margin_mm > 150
    assert 20 < askew.pose.heading_deg % 180 < 60
    assert check_pose(plan, body, askew.pose).ok


def test_along_the_bay_is_preferred_where_it_will_do() -> None:
    plan = FloorPlan.from_content(TWO_BAYS)
    found = search_placements(plan, parts_of(500, 1000, 1000))
    assert found.proven
    assert {p.pose.heading_deg for p in found.placements} <= {90.0, 270.0}
    assert placements(plan, parts_of(500, 1000, 1000)) == found.placements


def test_no_bay_holds_it_is_a_proof_only_for_standing_in_a_bay() -> None:
    lone = drawing(
        rect(0, 0, 20000, 6000),
        zones=[zone("B1", 0, 0, 1000, 1000)],
        bays=[bay("1", ["B1"], [500, 500])],
    )
    plan = FloorPlan.from_content(lone)
    in_bay = search_placements(plan, PARTS)
    assert in_bay == Search((), proven=True)
    assert _sets(search_placements(plan, PARTS, anywhere=True)) == {frozenset({"rest-1"})}


OUTLINES = [
    rect(0, 0, 9000, 7000),
    [[0, 0], [9000, 0], [9000, 4500], [5500, 4500], [5500, 8000], [0, 8000]],
]


@st.composite
def halls(draw: st.DrawFn) -> dict[str, Any]:
    outline = draw(st.sampled_from(OUTLINES))
    posts = []
    for i in range(draw(st.integers(0, 3))):
        x, y = draw(st.integers(0, 8500)), draw(st.integers(0, 7000))
        shape = rect(x, y, x + draw(st.integers(100, 900)), y + draw(st.integers(100, 900)))
        if shapely.Polygon(shape).intersects(shapely.Polygon(outline)):
            posts.append({"id": f"C{i}", "kind": "column", "polygon": shape})
    cut = 500 * draw(st.integers(5, 12))
    zones = [zone("B1", 0, 0, cut, 4000), zone("B2", cut, 0, 9000, 4000)]
    return drawing(outline, obstacles=posts, zones=zones)


@settings(max_examples=12, deadline=None)
@given(halls(), st.integers(0, 2**31))
def test_no_pose_at_any_heading_beats_the_answer(content: dict[str, Any], seed: int) -> None:
    plan, parts = FloorPlan.from_content(content), parts_of(300, 600, 300)
    fit, sets = search_fit(plan, parts), search_placements(plan, parts, anywhere=True)
    held = [p.zones for p in sets.placements]
    assert (fit.fit is None) == (not held) or not (fit.proven and sets.proven)
    best = -1.0 if fit.fit is None else fit.fit.margin_mm
    rng = np.random.default_rng(seed)
    west, south, east, north = plan.outline.bounds
    for _ in range(60):
        x, y, heading = rng.uniform([west, south, 0], [east, north, 360])
        report = check_pose(plan, parts, Pose(x, y, heading))
        if report.ok:
            assert fit.fit is not None or not fit.proven
            assert report.margin_mm <= best + 1.1
            assert any(zones <= report.zones for zones in held) or not sets.proven
    for placement in sets.placements:
        _true(plan, parts, placement)


def _true(plan: FloorPlan, parts: tuple[Part, ...], placement: Placement) -> None:
    others = frozenset(plan.zones) - placement.zones
    report = check_pose(plan, parts, placement.pose, others)
    assert report.ok
    assert report.zones <= placement.zones
    assert report.margin_mm == pytest.approx(placement.margin_mm, abs=0.05)


@settings(max_examples=8, deadline=None)
@given(halls(), st.sampled_from([90, 180, 270]), st.booleans())
def test_turning_or_mirroring_the_whole_floor_changes_nothing(
    content: dict[str, Any], degrees: int, mirror: bool
) -> None:
    def moved(ring: list[list[int]]) -> list[list[int]]:
        flipped = [[-x, y] for x, y in ring] if mirror else ring
        return _at(flipped, degrees)

    there = drawing(
        moved(content["outline"]),
        obstacles=[{**o, "polygon": moved(o["polygon"])} for o in content["obstacles"]],
        zones=[{**z, "polygon": moved(z["polygon"])} for z in content["zones"]],
    )
    parts = parts_of(300, 600, 300)
    one = search_placements(FloorPlan.from_content(content), parts, anywhere=True)
    other = search_placements(FloorPlan.from_content(there), parts, anywhere=True)
    if one.proven and other.proven:
        # the numbers that open floor goes by may change
        # margins at any heading are short of the greatest by up to 3 mm
        before, after = (sorted(map(_drawn, found.placements)) for found in (one, other))
        assert [zones for zones, _ in before] == [zones for zones, _ in after]
        assert [room for _, room in before] == pytest.approx([room for _, room in after], abs=3.1)


def _drawn(placement: Placement) -> tuple[list[str], float]:
    zones = sorted("rest" if z.startswith("rest") else z for z in placement.zones)
    return zones, placement.margin_mm


@settings(max_examples=10, deadline=None)
@given(halls(), st.integers(1, 600))
def test_growing_an_obstacle_never_helps_at_any_heading(content: dict[str, Any], by: int) -> None:
    parts = parts_of(300, 600, 300)
    larger = [
        {
            **o,
            "polygon": [
                [round(x), round(y)]
                for x, y in shapely.Polygon(o["polygon"])
                .buffer(by, join_style="mitre")
                .exterior.coords[:-1]
            ],
        }
        for o in content["obstacles"]
    ]
    before = search_fit(FloorPlan.from_content(content), parts)
    after = search_fit(FloorPlan.from_content({**content, "obstacles": larger}), parts)
    if after.fit is not None:
        assert before.fit is not None
        assert after.fit.margin_mm <= before.fit.margin_mm + 1
