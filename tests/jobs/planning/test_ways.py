"""Ways in are worked out apart from planning, kept, and obeyed only once they are known."""

from __future__ import annotations

import json
import math

import pytest

from bays.floor import VehicleShape
from jobs.planning.ways import (
    DEFAULT_TURNING_CIRCLE_MM,
    find_way,
    known_way,
    least_radius_mm,
    turning_faults,
    way_read,
    way_written,
)
from tests.jobs.planning.floors import CAR, CIRCLE_MM, hall, place_in

pytestmark = pytest.mark.django_db


def test_the_way_to_a_bay_crosses_the_aisle_and_takes_one_step_of_the_grid() -> None:
    plan = hall()
    way = find_way(plan, CAR, CIRCLE_MM, place_in(plan, "bay-1"))
    assert way.verdict == "found"
    assert (way.door, way.minutes, way.crosses) == ("door", 5, frozenset({"aisle"}))
    assert way.planner_zones == {"zone:aisle"}
    assert way.says.startswith("through door ")


def test_planning_only_reads_a_way_and_never_searches_for_one() -> None:
    plan = hall()
    place = place_in(plan, "bay-1")
    assert known_way(plan, CAR, CIRCLE_MM, place) is None
    found = find_way(plan, CAR, CIRCLE_MM, place)
    assert known_way(plan, CAR, CIRCLE_MM, place) == found
    assert known_way(plan, CAR, CIRCLE_MM + 100, place) is None


def test_a_door_narrower_than_the_vehicle_makes_it_impossible_with_a_proof() -> None:
    plan = hall(door_mm=1845)
    way = find_way(plan, CAR, CIRCLE_MM, place_in(plan, "bay-1"))
    assert way.verdict == "impossible"
    assert way.says


def test_without_a_door_no_way_is_found_and_nothing_is_proven() -> None:
    plan = hall(doors=[])
    way = find_way(plan, CAR, CIRCLE_MM, place_in(plan, "bay-1"))
    assert (way.verdict, way.minutes, way.crosses) == ("not found", None, frozenset())


def test_a_way_comes_back_as_it_was_kept() -> None:
    plan = hall()
    way = find_way(plan, CAR, CIRCLE_MM, place_in(plan, "bay-2"))
    assert way_read(json.loads(json.dumps(way_written(way)))) == way


def test_the_least_radius_follows_from_the_kerb_to_kerb_circle() -> None:
    """Closed formula: the outer front wheel runs on the circle, wheelbase ahead of the axle."""
    radius = least_radius_mm(CAR, CIRCLE_MM)
    assert radius is not None
    assert math.hypot(radius + 1795 / 2, 2790) == pytest.approx(CIRCLE_MM / 2)


def test_a_circle_too_small_for_the_wheelbase_or_too_wide_is_a_fault() -> None:
    assert turning_faults(CAR, None) == []
    assert turning_faults(CAR, DEFAULT_TURNING_CIRCLE_MM) == []
    assert [e.path for e in turning_faults(CAR, 5600)] == ["turning_circle_mm"]
    assert [e.path for e in turning_faults(CAR, 45_000)] == ["turning_circle_mm"]
    bus = VehicleShape(2500, 6000, 2700, 3300)
    assert least_radius_mm(bus, DEFAULT_TURNING_CIRCLE_MM) is None
