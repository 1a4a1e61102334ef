"""Answers of the exchange format against values that follow by hand from a drawing."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.bays.floor.cases import read_case
from tests.bays.floor.exchange_cases import (
    answered,
    around,
    column,
    fit_case,
    level_case,
    rect,
    zone,
)

# Half the room to spare is found to 1 mm.
FOUND_M = 0.0011


def test_zone_and_room_of_the_same_size_fit_with_nothing_to_spare() -> None:
    case = read_case("room_of_exactly_the_zone")
    found = answered(case)
    assert found["fits"] is True
    assert found["proven"] is True
    assert found["margin_m"] == pytest.approx(0, abs=0.001)
    assert found["pose"][:2] == pytest.approx([2.05, 1.5], abs=0.002)
    assert "short" not in found


def test_three_bays_and_a_rack_need_bay_three_emptied() -> None:
    found = answered(read_case("three_bays_and_a_rack"))
    assert found["fits"] is False
    assert found["fits_if_emptied"] == [["B3"]]
    assert found["min_blocked_sets"] == []
    assert found["min_blocked_sets_shop_empty"] == [["B2", "B3"]]
    assert found["fits_if_removed"] == []


def test_hall_with_columns_and_lifts_has_the_known_margin_and_blocked_sets() -> None:
    case = read_case("hall_with_columns_and_lifts")
    found = answered(case)
    assert found["margin_m"] == pytest.approx(case["expect"]["margin_m"], abs=0.006)
    assert sorted(map(tuple, found["min_blocked_sets"])) == sorted(
        map(tuple, case["expect"]["min_blocked_sets"])
    )


def test_fractions_of_a_millimetre_are_kept() -> None:
    # 4.8500004 m long, 1.9 m wide, in a room 0.4 micrometres too short, then long enough
    size = {"width": 1.9, "wheelbase": 2.8512, "front_overhang": 0.95, "rear_overhang": 1.05}
    exact = fit_case(rect(0, 0, 4.8512, 1.9), vehicle=size)
    assert answered(exact)["fits"] is True
    assert answered(exact)["pose"][0] == pytest.approx(1.05, abs=1e-5)
    short = fit_case(rect(0, 0, 4.8511, 1.9), vehicle=size)
    assert answered(short)["fits"] is False


def test_margin_counts_against_walls_obstacles_and_occupied_zones() -> None:
    room = rect(0, 0, 10, 6)
    ring = around(0, 0, 0)
    assert answered(fit_case(room, ring))["margin_m"] == pytest.approx(2.05, abs=FOUND_M)
    floor = {"zones": [zone("B1", 0, 0, 10, 2)], "obstacles": [column("C1", 4, 5, 5, 6)]}
    free = answered(fit_case(room, ring, floor={"zones": floor["zones"]}))
    assert free["margin_m"] == pytest.approx(2.05, abs=FOUND_M)
    taken = answered(fit_case(room, ring, floor={"zones": floor["zones"]}, occupied=["B1"]))
    assert taken["margin_m"] == pytest.approx(1.05, abs=FOUND_M)


def test_margin_grows_with_round_corners() -> None:
    # the nearest thing is a column off the corner of the body: 3 m ahead and 4 m aside of it
    floor = {"obstacles": [column("C1", 23.8, 14.95, 24, 15.2)]}
    case = fit_case(rect(0, 0, 60, 40), floor=floor, pose_fixed=[17, 10, 0], headings_deg=None)
    # nose at x = 20.8, left side at y = 10.95
    assert answered(case)["margin_at_pose_m"] == pytest.approx(5.0, abs=1e-6)
    assert answered(case)["fits"] is True


def test_each_heading_given_has_its_own_answer() -> None:
    case = fit_case(rect(0, 0, 7, 5), around(0.5, 0.5, 0.3), headings_deg=[0, 44.5, -90])
    found = answered(case)
    assert found["by_heading"]["0"]["margin_m"] == pytest.approx(0.575, abs=FOUND_M)
    assert found["by_heading"]["44.5"] == {"fits": False}
    assert found["by_heading"]["-90"] == {"fits": False}
    assert found["margin_m"] == found["by_heading"]["0"]["margin_m"]


def test_pose_keeps_the_heading_as_the_case_gives_it() -> None:
    found = answered(fit_case(rect(0, 0, 3, 6), headings_deg=[-90]))
    assert found["pose"][2] == -90
    assert found["by_heading"].keys() == {"-90"}


def test_vehicle_that_may_not_be_moved_is_short_behind_against_the_column() -> None:
    # the clear zone reaches 1.5 m behind the body, the column stands 1.38 m behind it
    floor = {"obstacles": [column("C4", 2.27, 2.8, 2.57, 3.2), column("C5", 15, 3, 15.3, 3.3)]}
    case = fit_case(
        rect(0, 0, 20, 6),
        around(1.5, 0.5, 0.5),
        floor=floor,
        pose_fixed=[5, 3, 0],
    )
    found = answered(case)
    assert found["fits"] is False
    assert found["proven"] is True
    assert found["margin_at_pose_m"] == 0
    assert found["fits_if_removed"] == ["C4"]
    (short,) = found["short"]
    assert (short["side"], short["against"]) == ("rear", ["C4"])
    assert short["by_m"] == pytest.approx(0.12, abs=0.001)
    turned = {**case, "pose_fixed": [7.75, 3, 180], "headings_deg": [0, 180]}
    assert answered(turned)["fits"] is True


def test_fixed_pose_names_the_zones_it_overlaps() -> None:
    zones = [zone("B1", 0, 0, 5, 6), zone("B2", 5, 0, 10, 6), zone("B3", 10, 0, 15, 6)]
    case = fit_case(
        rect(0, 0, 15, 6), around(0.5, 0.5, 0.5), floor={"zones": zones}, pose_fixed=[3.5, 3, 0]
    )
    assert answered(case)["min_blocked_sets"] == [["B1", "B2"]]
    blocked = answered({**case, "occupied": ["B2", "B3"]})
    assert blocked["fits"] is False
    assert blocked["fits_if_emptied"] == [["B2"]]
    assert blocked["min_blocked_sets"] == []
    assert blocked["min_blocked_sets_shop_empty"] == [["B1", "B2"]]
    # up to the border exactly: touching is not overlapping
    touching = {**case, "pose_fixed": [5 - 3.8 - 0.5, 3, 0], "vehicle": dict(case["vehicle"])}
    touching["procedure"] = {"parts": [around(-1, 0.5, 0.5)]}
    assert answered(touching)["fits"] is False
    touching["floor"] = {**case["floor"], "outline": rect(-2, 0, 15, 6)}
    assert answered(touching)["min_blocked_sets"] == [["B1"]]


def test_only_single_obstacles_whose_removal_helps_are_named() -> None:
    # two racks narrow the room to 2 m each at another place; either alone leaves a way to stand
    racks = [column("R1", 0, 2, 6, 6), column("R2", 0, 0, 6, 1), column("R3", 5.8, 1, 6, 2)]
    case = fit_case(rect(0, 0, 6, 6), around(0.2, 0.2, 0.2), floor={"obstacles": racks})
    found = answered(case)
    assert found["fits"] is False
    assert found["fits_if_removed"] == ["R1"]


def test_room_too_short_is_short_by_the_difference_at_one_end() -> None:
    found = answered(fit_case(rect(0, 0, 6.2, 4), around(0.7, 0.7, 0.3)))
    (short,) = found["short"]
    assert short["side"] in {"front", "rear"}
    assert short["by_m"] == pytest.approx(6.25 - 6.2, abs=0.001)
    assert short["against"] == ["wall"]


def test_zone_too_wide_for_the_gap_between_two_occupied_bays_is_short_on_both_sides() -> None:
    zones = [zone("B1", 0, 0, 3, 6), zone("B2", 3, 0, 6, 6), zone("B3", 6, 0, 9, 6)]
    case = fit_case(
        rect(0, 0, 9, 6),
        around(0.3, 0.3, 1.0),
        floor={"zones": zones},
        occupied=["B1", "B3"],
        headings_deg=[90],
    )
    found = answered(case)
    assert sum(short["by_m"] for short in found["short"]) == pytest.approx(0.9, abs=0.002)
    assert {name for short in found["short"] for name in short["against"]} <= {"B1", "B3"}
    assert found["fits_if_emptied"] == [["B1"], ["B3"]]


def test_obstacle_called_like_a_wall_or_a_zone_does_not_hide_it() -> None:
    floor = {"obstacles": [column("wall", 8, 0, 9, 1)]}
    case = fit_case(rect(0, 0, 9, 4), floor=floor, pose_fixed=[-3, 2, 0], headings_deg=None)
    assert answered(case)["fits"] is False


def test_no_zones_no_blocked_sets() -> None:
    found = answered(fit_case(rect(0, 0, 9, 4)))
    assert "min_blocked_sets" not in found


def test_a_pose_clear_of_every_zone_blocks_none() -> None:
    found = answered(fit_case(rect(0, 0, 20, 4), floor={"zones": [zone("B1", 0, 0, 4, 4)]}))
    assert found["min_blocked_sets"] == [[]]


def test_sector_margin_is_on_the_safe_side_by_its_chords_only() -> None:
    # a half disc of 3 m before the nose, in a room 20 m wide; the wall is 4 m before the nose
    half_disc = {
        "shape": "sector",
        "apex": ["front", 0.0],
        "bearing_deg": 0,
        "half_angle_deg": 90,
        "range": 3.0,
    }
    case = fit_case(rect(0, 0, 30, 20), half_disc, pose_fixed=[22.2, 10, 0])
    margin = answered(case)["margin_at_pose_m"]
    assert 1.0 - 0.002 <= margin <= 1.0


@pytest.mark.parametrize(
    "apex",
    [
        {"apex": ["front", 0.5]},
        {"apex": {"x": ["front", 0.5], "y": ["centreline", 0]}},
        {"apex": [["front", 0.5], ["centreline", 0]]},
        {"apex": {"datum": "front", "offset": 0.5}},
        {"x": ["front", 0.5], "y": ["centreline", 0]},
        {"apex_x": ["front", 0.5], "apex_y": ["centreline", 0]},
    ],
)
def test_apex_may_be_written_in_several_ways(apex: dict[str, Any]) -> None:
    sector = {"shape": "sector", "bearing_deg": 0, "half_angle_deg": 45, "range": 2.0, **apex}
    case = fit_case(rect(0, 0, 30, 20), sector, pose_fixed=[10, 10, 0])
    # the ends of its arc stand 2 sin 45° aside of the middle of the room, 10 m from either wall
    assert answered(case)["margin_at_pose_m"] == pytest.approx(10 - math.sqrt(2), abs=0.002)
    near = {**case, "pose_fixed": [23, 10, 0]}
    assert answered(near)["margin_at_pose_m"] == pytest.approx(0.7, abs=0.002)


def test_known_plane_gives_its_slopes() -> None:
    case = read_case("survey_of_a_plane")
    found = answered(case)
    assert "eligible" not in found
    assert found["slope_pct"] == pytest.approx(math.hypot(1, 0.5), abs=0.001)
    assert found["along_pct"] == pytest.approx(0.5, abs=0.001)
    assert found["across_pct"] == pytest.approx(-1.0, abs=0.001)
    assert found["max_dev_mm"] == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize(
    ("limits", "eligible"),
    [
        ({"tolerances": {"slope_pct": 1.0, "dev_mm": 3}}, "yes"),
        ({"tolerances": {"slope_pct": 0.99, "dev_mm": 3}}, "no"),
        ({"tolerances": {"max_slope_pct": 1.0}}, "yes"),
        ({"slope_tol_pct": 0.9, "dev_tol_mm": 5}, "no"),
        ({"max_slope_pct": 1.1, "max_dev_mm": 0}, "yes"),
        ({"tolerances": {"slope_deg": 0.6}}, "yes"),
        ({"tolerances": {"slope": 0.5, "deviation": 1}}, "no"),
    ],
)
def test_tolerances_decide_under_any_of_their_names(limits: dict[str, Any], eligible: str) -> None:
    assert answered(level_case(**limits))["eligible"] == eligible


def test_bump_in_the_zone_is_a_deviation_at_its_place() -> None:
    case = level_case(tolerances={"slope_pct": 2, "dev_mm": 3})
    case["survey_xyz_m"] = [
        [x, y, z + (0.012 if (x, y) == (4, 3) else 0)] for x, y, z in case["survey_xyz_m"]
    ]
    found = answered(case)
    assert found["eligible"] == "no"
    assert found["worst_point"] == [4, 3]
    # a bump of 12 mm lifts the mean of 63 readings by 12/63 mm, and it stands at the middle
    assert found["max_dev_mm"] == pytest.approx(12 - 12 / 63, abs=0.01)
    beside = {**case, "zone_polygon": rect(5, 0, 8, 6)}
    assert answered(beside)["eligible"] == "yes"


@pytest.mark.parametrize(
    "readings",
    [
        [],
        [[1, 1, 0], [2, 1, 0]],
        [[x, 3, 0] for x in range(9)],
        [[x / 2, y, 0] for x in range(9) for y in range(7)],
    ],
    ids=["none", "two", "on one line", "half the zone"],
)
def test_survey_that_says_nothing_about_the_zone_leaves_it_unknown(
    readings: list[list[float]],
) -> None:
    case = level_case(survey_xyz_m=readings, tolerances={"slope_pct": 1, "dev_mm": 3})
    assert answered(case)["eligible"] == "unknown"
    del case["tolerances"]
    assert answered(case)["eligible"] == "unknown"
