"""Proofs that there is no way: none where a way is known, and some that need turning room."""

from __future__ import annotations

import pytest

from bays.floor import FloorPlan, Pose
from bays.floor.drive import Drive, drive_in
from bays.floor.onward import only_with_reverse
from bays.floor.passage import quick_proof, sliced_proof, why_impossible
from bays.floor.reach import fresh_map
from tests.bays.floor.cases import column, drawing, rect
from tests.bays.floor.halls import (
    CAR_P,
    SMALL,
    SMALL_RADIUS_MM,
    VAN,
    corner,
    plan_with,
    random_case,
)


@pytest.mark.parametrize("seed", range(25))
def test_no_proof_contradicts_a_way_that_is_known(seed: int) -> None:
    outline, solids, start, goal = random_case(seed)
    plan = plan_with(outline, solids)
    answer = drive_in(fresh_map(plan, SMALL, SMALL_RADIUS_MM, start), goal)
    if isinstance(answer, Drive):
        assert why_impossible(plan, SMALL, start, goal, most_slices=150) is None
        assert why_impossible(plan, SMALL, goal, start, most_slices=150) is None
        if not answer.reverses:
            room = fresh_map(plan, SMALL, SMALL_RADIUS_MM, start).room
            assert not only_with_reverse(room, SMALL_RADIUS_MM, start, goal)


def test_turning_round_in_a_corridor_shorter_across_than_the_vehicle_is_impossible() -> None:
    hall = FloorPlan.from_content(drawing(rect(0, 0, 30_000, 4000)))
    here, turned = Pose(10_000, 2000, 0), Pose(14_000, 2000, 180)
    assert quick_proof(hall, VAN, here, turned) is None
    proof = sliced_proof(hall, VAN, here, turned)
    assert proof is not None
    assert proof.reason == "no_room_to_turn"


def test_turning_round_where_the_diagonal_fits_is_not_ruled_out() -> None:
    hall = FloorPlan.from_content(drawing(rect(0, 0, 30_000, 5700)))
    assert why_impossible(hall, VAN, Pose(10_000, 2850, 0), Pose(14_000, 2850, 180)) is None


@pytest.mark.parametrize(("width", "proven"), [(3400, True), (3500, True), (3570, False)])
def test_corner_is_ruled_out_just_below_the_sideways_bound(width: int, proven: bool) -> None:
    # (5791 / 2 + 2134) / sqrt(2) = 3556 mm
    plan, start, goal = corner(width)
    assert (why_impossible(plan, CAR_P, start, goal) is not None) is proven


def test_door_behind_a_column_is_ruled_out() -> None:
    door = {"id": "d", "from": [0, 3000], "to": [0, 6000]}
    plan = FloorPlan.from_content(
        drawing(
            rect(0, 0, 20_000, 9000),
            doors=[door],
            obstacles=[column("c", 600, 3800, 1000, 5200)],
        )
    )
    proof = why_impossible(plan, VAN, plan.doors[0], Pose(10_000, 4500, 0))
    assert proof is not None
    assert proof.reason in ("too_narrow", "no_room_to_turn")
    open_plan = FloorPlan.from_content(drawing(rect(0, 0, 20_000, 9000), doors=[door]))
    assert why_impossible(open_plan, VAN, open_plan.doors[0], Pose(10_000, 4500, 0)) is None
