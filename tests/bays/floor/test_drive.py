"""Driving in and out: what is found is driven again, and "impossible" is told from "not found"."""

from __future__ import annotations

import math
from typing import Any

import pytest

from bays.floor import FloorPlan, Pose, ZoneId
from bays.floor.drive import (
    Drive,
    Impossible,
    NotFound,
    drive_between,
    drive_in,
    reversing_needed,
    ways_in,
)
from bays.floor.reach import fresh_map, reach
from tests.bays.floor.brute_drive import assert_drivable
from tests.bays.floor.cases import column, drawing, rect
from tests.bays.floor.halls import (
    CAR_P,
    CAR_P_RADIUS_MM,
    RADIUS_MM,
    SMALL,
    SMALL_RADIUS_MM,
    VAN,
    corner,
    plan_with,
    random_case,
    workshop,
)

WORKSHOP = FloorPlan.from_content(workshop())
SOLIDS = [list(o.polygon.exterior.coords)[:-1] for o in WORKSHOP.obstacles]
# with the strip before the door, as long as a vehicle and 2 m
OUTLINE_WITH_STRIP = [
    *([0, 0], [40_000, 0], [40_000, 20_000], [0, 20_000]),
    *([0, 12_000], [-7250, 12_000], [-7250, 8000], [0, 8000]),
]


def found(answer: object) -> Drive:
    assert isinstance(answer, Drive), answer
    return answer


@pytest.mark.parametrize(
    "pose",
    [
        Pose(9000, 1800, 90),
        Pose(9000, 4300, 270),
        Pose(33_000, 18_200, 270),
        Pose(21_000, 15_500, 90),
        Pose(36_000, 10_000, 180),
    ],
)
def test_way_from_the_door_into_a_bay_is_drivable_pose_by_pose(pose: Pose) -> None:
    drive = found(drive_in(reach(WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0]), pose))
    assert_drivable(drive.path, VAN, RADIUS_MM, OUTLINE_WITH_STRIP, SOLIDS)
    end = drive.path[-1]
    assert (end.x_mm, end.y_mm) == pytest.approx(pose[:2], abs=0.01)
    assert (end.heading_deg - pose.heading_deg + 180) % 360 - 180 == pytest.approx(0, abs=0.001)
    body_starts_outside = drive.path[0].x_mm < 0
    assert body_starts_outside


def test_zones_crossed_are_those_the_swept_floor_overlaps() -> None:
    drive = found(
        drive_in(reach(WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0]), Pose(33_000, 1800, 90))
    )
    assert {"A1", "A2", "A3", "A4", "S5"} <= drive.zones_crossed
    assert not {"N1", "N2", "N3", "N4", "S1", "S2"} & drive.zones_crossed
    for zone in WORKSHOP.zones.values():
        overlaps = zone.polygon.intersection(drive.swept).area > 1000
        assert overlaps == (zone.id in drive.zones_crossed), zone.id


def test_occupied_zone_is_driven_round_or_stops_every_way() -> None:
    goal = Pose(33_000, 1800, 90)
    asked = (WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0])
    round_it = drive_in(reach(*asked, frozenset({ZoneId("S4"), ZoneId("N3")})), goal)
    assert not {"S4", "N3"} & found(round_it).zones_crossed
    across = frozenset(ZoneId(name) for name in ("A2", "S1", "S2", "N1", "N2"))
    blocked = drive_in(reach(*asked, across), goal)
    assert isinstance(blocked, Impossible)
    assert blocked.reason == "too_narrow"


def test_way_out_is_the_way_in_driven_back() -> None:
    drive = found(
        drive_in(reach(WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0]), Pose(9000, 4300, 270))
    )
    out = drive.out_again()
    assert [p.pose for p in out.path] == [p.pose for p in reversed(drive.path)]
    assert_drivable(out.path, VAN, RADIUS_MM, OUTLINE_WITH_STRIP, SOLIDS)
    assert out.enters != drive.enters
    assert out.out_again().path == drive.path


def test_door_passed_in_either_way_keeps_its_word() -> None:
    ways = ways_in(reach(WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0]), Pose(15_000, 1800, 90))
    forward, reverse = found(ways.forward), found(ways.reverse)
    assert (forward.enters, reverse.enters) == ("forward", "reverse")
    assert forward.path[0].heading_deg == pytest.approx(0)
    assert reverse.path[0].heading_deg == pytest.approx(180)
    assert reverse.path[0].direction == -1
    assert not ways.only_in_reverse


def test_door_of_a_dead_end_is_passed_only_in_reverse() -> None:
    hall = drawing(rect(0, 0, 9000, 3000), doors=[{"id": "d", "from": [0, 0], "to": [0, 3000]}])
    plan = FloorPlan.from_content(hall)
    ways = ways_in(reach(plan, VAN, RADIUS_MM, plan.doors[0]), Pose(6500, 1500, 180))
    assert ways.only_in_reverse
    assert found(ways.reverse).direction_changes == 0


def test_door_narrower_than_the_body_is_impossible() -> None:
    door = {"id": "d", "from": [0, 4000], "to": [0, 5900]}
    plan = FloorPlan.from_content(drawing(rect(0, 0, 20_000, 10_000), doors=[door]))
    answer = drive_in(reach(plan, VAN, RADIUS_MM, plan.doors[0]), Pose(10_000, 5000, 0))
    assert isinstance(answer, Impossible)
    assert answer.reason == "door_too_narrow"
    assert "1900 mm" in answer.proof
    assert "2000 mm" in answer.proof


def test_goal_in_a_wall_and_start_in_a_column_are_impossible() -> None:
    plan = FloorPlan.from_content(
        drawing(rect(0, 0, 20_000, 10_000), obstacles=[column("c", 4000, 4000, 4500, 4500)])
    )
    free, blocked, outside = Pose(10_000, 5000, 0), Pose(3000, 4200, 0), Pose(18_000, 5000, 0)
    for start, goal, reason in (
        (blocked, free, "start_blocked"),
        (free, outside, "goal_blocked"),
    ):
        answer = drive_between(plan, VAN, RADIUS_MM, start, goal)
        assert isinstance(answer, Impossible)
        assert answer.reason == reason


def test_row_of_columns_too_close_for_the_body_is_impossible() -> None:
    row = [column(f"c{n}", 10_000, 2300 * n, 10_400, 2300 * n + 400) for n in range(5)]
    plan = FloorPlan.from_content(drawing(rect(0, 0, 20_000, 9600), obstacles=row))
    answer = drive_between(plan, VAN, RADIUS_MM, Pose(3000, 5000, 0), Pose(14_000, 5000, 0))
    assert isinstance(answer, Impossible)
    assert answer.reason == "too_narrow"


def test_touching_both_walls_is_driving_through() -> None:
    hall = FloorPlan.from_content(drawing(rect(0, 0, 30_000, 2000)))
    drive = found(
        drive_between(hall, VAN, RADIUS_MM, Pose(1100, 1000, 0), Pose(30_000 - 4150, 1000, 0))
    )
    assert drive.direction_changes == 0
    assert drive.length_mm == pytest.approx(30_000 - 4150 - 1100)


def test_minutes_are_walking_pace_and_a_stop_for_each_change() -> None:
    hall = FloorPlan.from_content(drawing(rect(0, 0, 30_000, 4000)))
    drive = found(drive_between(hall, VAN, RADIUS_MM, Pose(3000, 2000, 0), Pose(15_000, 2000, 0)))
    assert drive.minutes == pytest.approx(12 / 1.2 / 60)


@pytest.mark.parametrize(("width", "needs_reverse"), [(5500, False), (4700, False), (4500, False)])
def test_corner_that_one_sweep_passes_needs_no_reversing(width: int, needs_reverse: bool) -> None:
    plan, start, goal = corner(width)
    drive = found(drive_between(plan, CAR_P, CAR_P_RADIUS_MM, start, goal))
    outline = [list(p) for p in plan.outline.exterior.coords[:-1]]
    assert_drivable(drive.path, CAR_P, CAR_P_RADIUS_MM, outline)
    assert reversing_needed(plan, CAR_P, CAR_P_RADIUS_MM, start, goal) is needs_reverse


@pytest.mark.parametrize("width", [4200, 4000, 3900])
def test_narrow_corner_is_passed_by_going_back_and_forth(width: int) -> None:
    plan, start, goal = corner(width)
    drive = found(drive_between(plan, CAR_P, CAR_P_RADIUS_MM, start, goal))
    outline = [list(p) for p in plan.outline.exterior.coords[:-1]]
    assert_drivable(drive.path, CAR_P, CAR_P_RADIUS_MM, outline)


def test_corner_narrower_than_the_sideways_bound_is_proven_impossible() -> None:
    # a rectangle L x W that may move in any way passes if and only if w >= (L / 2 + W) / sqrt(2)
    bound = (CAR_P.length_mm / 2 + CAR_P.width_mm) / math.sqrt(2)
    assert bound == pytest.approx(3556, abs=1)
    plan, start, goal = corner(3500)
    answer = drive_between(plan, CAR_P, CAR_P_RADIUS_MM, start, goal)
    assert isinstance(answer, Impossible)
    assert answer.reason == "no_room_to_turn"


def test_nearly_passable_corner_is_at_most_called_not_found() -> None:
    # just above the bound: no proof can hold, and no path needs to be found
    plan, start, goal = corner(3570)
    assert not isinstance(drive_between(plan, CAR_P, CAR_P_RADIUS_MM, start, goal), Impossible)


def asked(
    outline: list[list[int]], solids: list[Any], start: Pose, goal: Pose
) -> Drive | NotFound | Impossible:
    plan = plan_with(outline, solids)
    return drive_in(fresh_map(plan, SMALL, SMALL_RADIUS_MM, start), goal)


@pytest.mark.parametrize("seed", range(40))
def test_found_in_a_random_hall_is_drivable_and_a_larger_column_helps_nobody(seed: int) -> None:
    outline, solids, start, goal = random_case(seed)
    answer = asked(outline, solids, start, goal)
    if isinstance(answer, Drive):
        assert_drivable(answer.path, SMALL, SMALL_RADIUS_MM, outline, solids)
        assert isinstance(
            asked(outline, solids, goal, start),
            Drive | NotFound,
        )
    if isinstance(answer, Impossible) and solids:
        (x0, y0), _, (x1, y1), _ = solids[0]
        larger = [rect(x0 - 100, y0 - 100, x1 + 100, y1 + 100), *solids[1:]]
        again = asked(outline, larger, start, goal)
        assert isinstance(again, Impossible)


@pytest.mark.parametrize("seed", range(60, 70))
def test_mirrored_or_turned_hall_gives_the_same_verdict(seed: int) -> None:
    outline, solids, start, goal = random_case(seed)
    verdict = type(asked(outline, solids, start, goal))

    def mirrored(p: Any) -> list[int]:
        return [-p[0], p[1]]

    def turned(p: Any) -> list[int]:
        return [-p[1], p[0]]

    for move, heading in (
        (mirrored, lambda h: (180 - h) % 360),
        (turned, lambda h: (h + 90) % 360),
    ):
        plan = plan_with([move(p) for p in outline], [[move(p) for p in s] for s in solids])
        moved = [
            Pose(*(float(v) for v in move(pose[:2])), heading(pose.heading_deg))
            for pose in (start, goal)
        ]
        assert (
            type(drive_in(fresh_map(plan, SMALL, SMALL_RADIUS_MM, moved[0]), moved[1])) is verdict
        )
