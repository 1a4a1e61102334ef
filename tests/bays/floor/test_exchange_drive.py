"""Driving cases: known answers, and every path found is driven again pose by pose with numpy.

Corner: a vehicle whose rear axle follows one arc of radius r turns from one corridor into another
of the same width w at right angles when w >= r_out - r_in / sqrt(2), with r_in = r - width / 2 and
r_out = hypot(r + width / 2, wheelbase + front overhang). Even one that could move sideways needs
w >= (length / 2 + width) / sqrt(2). (Closed formulas; the vehicle is AASHTO's passenger car P of
19 x 7 ft with a wheelbase of 11 ft, from memory.)
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.bays.floor import brute_distance as brute
from tests.bays.floor.exchange_cases import HATCHBACK, answered, column, rect, zone

FOOT = 0.3048
CAR_P = {
    "width": 7 * FOOT,
    "wheelbase": 11 * FOOT,
    "front_overhang": 3 * FOOT,
    "rear_overhang": 5 * FOOT,
}
RADIUS_P = 5.452428156335488
RADIUS = 4.6


def drive_case(
    outline: list[list[float]], start: list[float], goal: list[float], **more: Any
) -> dict[str, Any]:
    floor = {"outline": outline, **{k: more.pop(k) for k in ("obstacles", "zones") if k in more}}
    return {
        "kind": "drive",
        "vehicle": dict(HATCHBACK),
        "floor": floor,
        "rear_axle_min_radius_m": RADIUS,
        "start_pose": start,
        "goal_pose_deg": goal,
        **more,
    }


def corner(width: float) -> dict[str, Any]:
    """Two corridors of 25 m that meet at a right angle."""
    inner = 25 - width
    outline = [[0, 0], [25, 0], [25, 25], [inner, 25], [inner, width], [0, width]]
    start, goal = [3, width / 2, 0], [25 - width / 2, 18, 90]
    return drive_case(outline, start, goal, vehicle=dict(CAR_P), rear_axle_min_radius_m=RADIUS_P)


def _worst_step(path: np.ndarray, radius_m: float) -> tuple[float, float]:
    """How much tighter than allowed (share), and how far aside of its heading (m), a step goes."""
    step = np.diff(path[:, :2], axis=0)
    turned = np.radians((np.diff(path[:, 2]) + 180) % 360 - 180)
    middle = np.radians(path[:-1, 2]) + turned / 2
    ahead = (step * np.column_stack([np.cos(middle), np.sin(middle)])).sum(axis=1)
    aside = step[:, 1] * np.cos(middle) - step[:, 0] * np.sin(middle)
    # an arc of length s turns by s / r; its chord is shorter by less than a millionth here
    allowed = np.abs(ahead) / radius_m
    tight = np.max(np.abs(turned) - allowed * (1 + 1e-5))
    assert (np.sign(ahead[np.abs(ahead) > 1e-9]) == path[1:, 3][np.abs(ahead) > 1e-9]).all()
    return float(tight), float(np.abs(aside).max())


def _least_gap(case: dict[str, Any], path: np.ndarray) -> float:
    """Over poses at most 10 mm and 0.1 deg apart, from the given ones by straight interpolation."""
    size = case["vehicle"]
    body = brute.rectangle(
        -size["rear_overhang"] - 0,
        -size["width"] / 2,
        size["wheelbase"] + size["front_overhang"],
        size["width"] / 2,
    )
    between = [path[:-1, :3] + t * np.diff(path[:, :3], axis=0) for t in (0, 0.5)]
    poses = np.concatenate([*between, path[-1:, :3]])
    inset = body * (1 - 4e-4)  # about a millimetre: touching is allowed, chords cut corners
    floor = case["floor"]
    solids = [np.array(o["poly"], float) for o in floor.get("obstacles", [])]
    taken = set(case.get("occupied", []))
    solids += [np.array(z["poly"], float) for z in floor.get("zones", []) if z["id"] in taken]
    return float(brute.gaps([inset], poses, [np.array(floor["outline"], float)], solids).min())


def driven(case: dict[str, Any]) -> dict[str, Any]:
    """The answer, its path checked where there is one."""
    found = answered(case)
    if found["drivable"] != "yes":
        assert "path" not in found
        return found
    path = np.array(found["path"], dtype=float)
    for end, pose in ((path[0], case["start_pose"]), (path[-1], case["goal_pose_deg"])):
        assert end[:2] == pytest.approx(pose[:2], abs=1e-4)
        assert abs((end[2] - pose[2] + 180) % 360 - 180) < 0.01
    assert set(path[:, 3]) <= {1.0, -1.0}
    assert np.hypot(*np.diff(path[:, :2], axis=0).T).max(initial=0) <= 0.05
    if len(path) > 1:
        tight, aside = _worst_step(path, case["rear_axle_min_radius_m"])
        assert tight <= 1e-6
        assert aside <= 1e-5
    assert _least_gap(case, path) >= 0
    assert (path[:, 3] == 1).all() == (found["reversing_needed"] is False)
    return found


def test_corridor_corner_narrower_than_any_manoeuvre_needs_is_proven_impossible() -> None:
    assert (19 * FOOT / 2 + 7 * FOOT) / math.sqrt(2) == pytest.approx(3.556, abs=0.001)
    assert driven(corner(3.5))["drivable"] == "impossible"


def test_corridor_corner_wide_enough_for_one_arc_needs_no_reversing() -> None:
    r_in = RADIUS_P - CAR_P["width"] / 2
    r_out = math.hypot(RADIUS_P + CAR_P["width"] / 2, 14 * FOOT)
    assert r_out - r_in / math.sqrt(2) == pytest.approx(4.691, abs=0.001)
    for width in (4.75, 5.0):
        found = driven(corner(width))
        assert found["drivable"] == "yes", width
        assert found["reversing_needed"] is False, width


@pytest.mark.slow
@pytest.mark.parametrize("width", [4.0, 4.3, 4.6])
def test_path_found_round_a_narrower_corner_is_sound(width: float) -> None:
    # more than one arc, and an S before it, do with less than the formula for one arc asks
    driven(corner(width))


def test_straight_ahead_and_straight_back() -> None:
    hall = rect(0, 0, 25, 3)
    ahead = driven(drive_case(hall, [2, 1.5, 0], [15, 1.5, 0]))
    assert (ahead["drivable"], ahead["reversing_needed"]) == ("yes", False)
    back = driven(drive_case(hall, [15, 1.5, 0], [2, 1.5, 0]))
    assert back["drivable"] == "yes"
    assert back["reversing_needed"] is not False


def test_already_there() -> None:
    found = driven(drive_case(rect(0, 0, 10, 4), [3, 2, 0], [3, 2, 0]))
    assert (found["drivable"], found["reversing_needed"]) == ("yes", False)


def test_exact_corridor_can_be_driven_along() -> None:
    found = driven(drive_case(rect(0, 0, 25, 1.9), [2, 0.95, 0], [15, 0.95, 0]))
    assert found["drivable"] == "yes"


def test_opening_decides_by_a_centimetre() -> None:
    def through(opening: float) -> str:
        y = 3 - opening / 2
        walls = [column("W1", 12, 0, 12.3, y), column("W2", 12, y + opening, 12.3, 6)]
        case = drive_case(rect(0, 0, 25, 6), [3, 3, 0], [17, 3, 0], obstacles=walls)
        return str(driven(case)["drivable"])

    assert through(1.91) == "yes"
    assert through(1.89) == "impossible"


def test_end_on_an_obstacle_or_beyond_the_wall_is_impossible() -> None:
    hall = rect(0, 0, 25, 6)
    post = [column("P", 16, 3, 16.2, 3.2)]
    assert driven(drive_case(hall, [3, 3, 0], [15, 3, 0], obstacles=post))["drivable"] == (
        "impossible"
    )
    assert driven(drive_case(hall, [15, 3, 0], [3, 3, 0], obstacles=post))["drivable"] == (
        "impossible"
    )
    assert driven(drive_case(hall, [3, 3, 0], [24, 3, 0]))["drivable"] == "impossible"


def test_occupied_aisle_bars_the_way() -> None:
    aisle = [zone("A", 10, 0, 13, 6), zone("B", 3, 4.5, 6, 6)]
    case = drive_case(rect(0, 0, 25, 6), [3, 3, 0], [17, 3, 0], zones=aisle)
    assert driven(case)["drivable"] == "yes"
    assert driven({**case, "occupied": ["A"]})["drivable"] == "impossible"
    assert driven({**case, "occupied": ["B"]})["drivable"] == "yes"


def test_turning_round_in_a_wide_hall_needs_no_reversing() -> None:
    wide = driven(drive_case(rect(0, 0, 30, 30), [6, 10, 0], [6, 20, 180]))
    assert (wide["drivable"], wide["reversing_needed"]) == ("yes", False)


@pytest.mark.slow
def test_turning_round_in_a_narrow_hall_is_possible_only_with_reversing() -> None:
    narrow = driven(drive_case(rect(0, 0, 25, 7.5), [8, 3.75, 0], [12, 3.75, 180]))
    assert (narrow["drivable"], narrow["reversing_needed"]) == ("yes", True)


@pytest.mark.slow
@pytest.mark.parametrize("heading", [90, -90])
def test_bay_beside_an_aisle_is_reached_either_way_round(heading: float) -> None:
    # aisle 0 <= y <= 7, bays 2.8 m wide and 5.5 m deep beyond it
    racks = [column("L", 0, 7, 10, 12.5), column("R", 12.8, 7, 25, 12.5)]
    y = 7.4 + (1.05 if heading == 90 else 3.8)
    case = drive_case(rect(0, 0, 25, 12.5), [3, 3.5, 0], [11.4, y, heading], obstacles=racks)
    found = driven(case)
    assert found["drivable"] == "yes"
    # tail first: the vehicle comes from the aisle, and has to be backed in
    assert heading == 90 or found["reversing_needed"] is True


def test_dead_end_is_left_the_way_it_was_entered() -> None:
    # a pocket 2.2 m wide: in forwards, so out backwards
    outline = [[0, 0], [12, 0], [12, 8], [20, 8], [20, 10.2], [12, 10.2], [12, 18], [0, 18]]
    out = driven(drive_case(outline, [14.5, 9.1, 0], [4, 12, 90]))
    assert out["drivable"] == "yes"
    assert out["reversing_needed"] is not False
    assert np.array(out["path"])[1, 3] == -1
