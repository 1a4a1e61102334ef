"""Placements: minimal sets of zones, their poses and margins."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import FloorPlan, Placement, best_fit, check_pose, options, placements
from tests.bays.floor import brute
from tests.bays.floor.cases import (
    bay,
    case_parts,
    column,
    drawing,
    parts_of,
    plan_of,
    read_case,
    rect,
    zone,
)

# Two bays of 4 x 7 m side by side, an aisle of 8 x 5 m before them.
TWO_BAYS = drawing(
    rect(0, 0, 8000, 12000),
    zones=[
        zone("B1", 0, 0, 4000, 7000),
        zone("B2", 4000, 0, 8000, 7000),
        zone("A1", 0, 7000, 8000, 12000, kind="aisle"),
    ],
    bays=[
        bay("1", ["B1"], [2000, 3500]),
        bay("2", ["B2"], [6000, 3500]),
        bay("1+2", ["B1", "B2"], [4000, 3500]),
    ],
)


def _sets(found: tuple[Placement, ...] | list[Placement]) -> set[frozenset[str]]:
    return {frozenset(placement.zones) for placement in found}


def test_a_zone_that_fits_the_bay_takes_the_bay_alone() -> None:
    found = placements(FloorPlan.from_content(TWO_BAYS), parts_of(500, 1000, 1000))
    assert _sets(found) == {frozenset({"B1"}), frozenset({"B2"})}
    first = next(p for p in found if p.zones == {"B1"})
    assert first.label == "Bay 1"
    assert first.bay_ids == ("1", "1+2")
    # 3900 wide in 4000, 6350 long in 7000
    assert first.margin_mm == pytest.approx(50, abs=1)
    assert first.pose.x_mm == pytest.approx(2000, abs=1)


def test_a_wide_zone_in_a_joined_bay_takes_both() -> None:
    (found,) = placements(FloorPlan.from_content(TWO_BAYS), parts_of(500, 1000, 1500))
    assert found.zones == {"B1", "B2"}
    assert found.label == "Bays 1 + 2"
    assert set(found.bay_ids) == {"1", "2", "1+2"}
    assert found.margin_mm == pytest.approx(325, abs=1)


def test_a_long_zone_reaches_over_the_aisle_and_takes_it_too() -> None:
    found = placements(FloorPlan.from_content(TWO_BAYS), parts_of(500, 4000, 1000))
    assert _sets(found) == {frozenset({"B1", "A1"}), frozenset({"B2", "A1"})}
    assert {p.label for p in found} == {"Bay 1 + A1", "Bay 2 + A1"}
    assert options(found, {"B1"}) == [p for p in found if "B1" not in p.zones]
    assert options(found, {"A1"}) == []


def test_a_floor_without_joined_bay_still_lets_the_zone_reach_over() -> None:
    split = {**TWO_BAYS, "bays": TWO_BAYS["bays"][:2]}
    found = placements(FloorPlan.from_content(split), parts_of(500, 1000, 1500))
    assert _sets(found) == {frozenset({"B1", "B2"})}
    x = found[0].pose.x_mm
    assert 2450 - 0.1 <= x <= 8000 - 2450 + 0.1


def test_the_body_centre_stays_in_the_bay_unless_headings_are_given() -> None:
    one = {**TWO_BAYS, "bays": [TWO_BAYS["bays"][0]]}
    plan = FloorPlan.from_content(one)
    small = parts_of(100, 100, 100)
    assert _sets(placements(plan, small)) == {frozenset({"B1"})}
    assert _sets(placements(plan, small, [90])) == {frozenset({"B1"}), frozenset({"B2"})}
    assert _sets(placements(plan, small, [0])) == {frozenset({"A1"}), frozenset({"B1", "B2"})}


def test_both_directions_of_a_bay_are_tried() -> None:
    # the post leaves room for the long front of the zone only towards the back wall
    post = column("C1", 1900, 6500, 2100, 7000)
    content = {**TWO_BAYS, "bays": [TWO_BAYS["bays"][0]], "obstacles": [post]}
    ahead_only = parts_of(0, 1500, 500)
    (found,) = placements(FloorPlan.from_content(content), ahead_only)
    assert found.pose.heading_deg in (90, 270)
    lone = drawing(
        rect(0, 0, 4000, 12000),
        zones=[zone("B1", 0, 0, 4000, 6000)],
        bays=[bay("1", ["B1"], [2000, 3000])],
    )
    (outward,) = placements(FloorPlan.from_content(lone), parts_of(0, 5000, 500))
    assert outward.pose.heading_deg == 90


def test_tolerances_ask_for_room_and_their_zones_are_taken_too() -> None:
    plan = FloorPlan.from_content(TWO_BAYS)
    # 3900 in 4000: 50 mm each side
    assert _sets(placements(plan, parts_of(500, 1000, 1000, position_tolerance_mm=50))) == {
        frozenset({"B1"}),
        frozenset({"B2"}),
    }
    careful = placements(plan, parts_of(500, 1000, 1000, position_tolerance_mm=51))
    assert _sets(careful) == {frozenset({"B1", "B2"})}
    assert careful[0].margin_mm >= 51


def test_angle_tolerance_counts_over_its_arm() -> None:
    plan = FloorPlan.from_content(TWO_BAYS)
    parts = parts_of(500, 1000, 960, angle_tolerance_deg=1)
    assert parts[0].needs_mm == pytest.approx(np.radians(1) * np.hypot(4800, 1910))
    # 90 mm to spare each side, 90.16 needed
    assert _sets(placements(plan, parts)) == {frozenset({"B1", "B2"})}
    half = parts_of(500, 1000, 960, angle_tolerance_deg=0.99)
    assert _sets(placements(plan, half)) == {frozenset({"B1"}), frozenset({"B2"})}


def test_hall_with_columns_and_lifts_gives_the_known_margin_and_zone_sets() -> None:
    case = read_case("hall_with_columns_and_lifts")
    plan, parts, occupied = plan_of(case), case_parts(case), set(case["occupied"])
    fit = best_fit(plan, parts, case["headings_deg"], occupied)
    assert fit is not None
    expect = case["expect"]
    assert fit.margin_mm == pytest.approx(
        1000 * expect["margin_m"], abs=1000 * expect["margin_tol_m"]
    )
    found = options(placements(plan, parts, case["headings_deg"]), occupied)
    assert _drawn_sets(found) == {frozenset(held) for held in expect["min_blocked_sets"]}


def test_three_bays_and_a_rack_take_the_two_bays_away_from_the_rack() -> None:
    case = read_case("three_bays_and_a_rack")
    plan, parts = plan_of(case), case_parts(case)
    found = placements(plan, parts, case["headings_deg"])
    assert _drawn_sets(found) == {
        frozenset(held) for held in case["expect"]["min_blocked_sets_shop_empty"]
    }
    assert best_fit(plan, parts, case["headings_deg"], set(case["occupied"])) is None
    assert options(found, set(case["occupied"])) == []


def _drawn_sets(found: tuple[Placement, ...] | list[Placement]) -> set[frozenset[str]]:
    """The case files know drawn zones only, not the open floor between them."""
    sets = {frozenset(z for z in held if not z.startswith("rest")) for held in _sets(found)}
    return {held for held in sets if not any(other < held for other in sets)}


def test_every_placement_passes_the_check_of_its_own_pose() -> None:
    case = read_case("hall_with_columns_and_lifts")
    plan, parts = plan_of(case), case_parts(case)
    found = placements(plan, parts, case["headings_deg"])
    assert len({p.key for p in found}) == len(found)
    for placement in found:
        others = frozenset(plan.zones) - placement.zones
        report = check_pose(plan, parts, placement.pose, others)
        assert report.ok
        assert report.zones <= placement.zones
        assert report.margin_mm == pytest.approx(placement.margin_mm, abs=0.05)
        assert report.shortfalls == ()


REAR, FRONT, SIDE = 300, 1200, 600
COARSE = 150.0


@st.composite
def zoned_floors(draw: st.DrawFn) -> dict[str, Any]:
    xs = sorted(draw(st.sets(st.integers(2, 22), min_size=1, max_size=3)))
    cuts = [0, *(500 * x for x in xs), 12000]
    split = 500 * draw(st.integers(6, 14))
    zones = [zone(f"B{i}", x0, 0, x1, split) for i, (x0, x1) in enumerate(pairwise(cuts))]
    if draw(st.booleans()):
        zones.append(zone("A1", 0, split, 12000, 9000, kind="aisle"))
    posts = [
        column(f"C{i}", x, y, x + 300, y + 300)
        for i, (x, y) in enumerate(
            draw(st.lists(st.tuples(st.integers(0, 11700), st.integers(0, 8700)), max_size=3))
        )
    ]
    return drawing(rect(0, 0, 12000, 9000), zones=zones, obstacles=posts)


@settings(max_examples=15, deadline=None)
@given(zoned_floors(), st.sampled_from([0.0, 90.0, 270.0, 35.0]))
def test_zone_sets_agree_with_point_sampling(content: dict[str, Any], heading: float) -> None:
    plan = FloorPlan.from_content(content)
    found = placements(plan, parts_of(REAR, FRONT, SIDE), [heading])
    sets = _sets(found)
    assert not any(one < other for one in sets for other in sets)
    shapes = {z["id"]: z["polygon"] for z in content["zones"]}
    solids = [o["polygon"] for o in content["obstacles"]]
    points = brute.rect_points(-1050 - REAR, -950 - SIDE, 3800 + FRONT, 950 + SIDE, COARSE)
    drawn = {frozenset(z for z in held if z in shapes) for held in sets}
    for x in np.arange(200, 12000, 900):
        for y in np.arange(200, 9000, 900):
            at = brute.placed(points, x, y, heading)
            if brute.blocked_mm(at, content["outline"], solids) > -COARSE:
                continue
            depths = {key: brute.overlap_mm(at, shape) for key, shape in shapes.items()}
            # all that might be taken; some placement makes do with these
            near = {key for key, depth in depths.items() if depth > -COARSE}
            assert any(held <= near for held in drawn)
    for placement in found:
        at = brute.placed(points, placement.pose.x_mm, placement.pose.y_mm, heading)
        assert brute.blocked_mm(at, content["outline"], solids) <= 0.1
        taken = {key for key, shape in shapes.items() if brute.overlap_mm(at, shape) > 0.1}
        assert taken <= placement.zones


def test_answers_are_kept() -> None:
    plan, parts = FloorPlan.from_content(TWO_BAYS), parts_of(500, 1000, 1000)
    again = FloorPlan.from_content(TWO_BAYS)
    assert placements(plan, parts) is placements(again, parts)
    assert placements(plan, parts, [450, 90]) is placements(again, parts, [90.0])


def test_a_plan_without_bays_has_no_placements_along_bays() -> None:
    bare = FloorPlan.from_content(drawing(rect(0, 0, 12000, 9000)))
    assert placements(bare, parts_of(100, 100, 100)) == ()
    assert _sets(placements(bare, parts_of(100, 100, 100), [0])) == {frozenset({"rest-1"})}
