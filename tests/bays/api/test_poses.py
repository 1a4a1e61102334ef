"""Checking a pose by the API: what it meets there, in facts and in words."""

from __future__ import annotations

from typing import Any

import pytest

from tests.bays.api.test_physical_world import PICKUP, around, send
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db


def check(world: World, **said: Any) -> Any:
    body = {"vehicle": PICKUP, "clear_zone": around(500), **said}
    return send(world.writer, "post", "pose-check", body)


# Bay 5 of the demo's hall: x 18,400 to 24,800, y 0 to 11,000; heading down the plan.
IN_BAY_5 = {"x_mm": 21_600, "y_mm": 7_500, "heading_deg": 270}


def test_pose_in_a_bay_fits_and_tells_the_room_on_each_side(world: World) -> None:
    found = check(world, pose=IN_BAY_5).json()
    assert found["fits"] is True
    assert found["zones"] == ["bay-5"]
    front = next(room for room in found["rooms_of_clear_zone"] if room["side"] == "front")
    ahead = PICKUP["wheelbase_mm"] + PICKUP["front_overhang_mm"] + 500
    assert (front["against"], front["gap_mm"]) == ("wall", pytest.approx(7_500 - ahead))
    body = next(room for room in found["rooms_of_body"] if room["side"] == "front")
    assert body["gap_mm"] == pytest.approx(front["gap_mm"] + 500)
    assert found["nearest"]["gap_mm"] == pytest.approx(found["margin_mm"])
    assert found["answer"]["says"].startswith("It fits here")


def test_pose_against_a_wall_is_short_by_what_is_missing(world: World) -> None:
    ahead = PICKUP["wheelbase_mm"] + PICKUP["front_overhang_mm"] + 500
    pose = {**IN_BAY_5, "y_mm": ahead - 120}
    found = check(world, pose=pose).json()
    assert found["fits"] is False
    (short,) = found["shortfalls"]
    assert (short["side"], short["against"]) == ("front", ["wall"])
    assert short["by_mm"] == pytest.approx(120 + found["needs_mm"], abs=1)
    assert found["nearest"] is None


def test_zone_said_to_be_taken_is_solid(world: World) -> None:
    found = check(world, pose=IN_BAY_5, occupied_zones=["bay-5"]).json()
    assert found["fits"] is False
    assert found["answer"]["zones_to_empty"] == [["bay-5"]]


def test_roomiest_pose_nearby_has_at_least_the_margin_of_this_one(world: World) -> None:
    found = check(world, pose=IN_BAY_5, roomiest_within_mm=800).json()
    assert found["roomier"]["margin_mm"] >= found["margin_mm"]
    assert found["roomier"]["pose"]["heading_deg"] == 270


def test_fault_is_told_with_its_path(world: World) -> None:
    answer = check(world, pose={"x_mm": "far", "y_mm": 0, "heading_deg": 0})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "pose.x_mm"
