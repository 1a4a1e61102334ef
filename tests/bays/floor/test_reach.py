"""Reach maps: what is kept, and how much of it."""

from __future__ import annotations

import numpy as np
import pytest

from bays.floor import FloorPlan, Pose, ZoneId
from bays.floor.kept import Kept
from bays.floor.motion import drawn_out, end_of
from bays.floor.reach import fresh_map, reach
from bays.floor.room import inward_deg, strip_before
from tests.bays.floor.brute_drive import assert_drivable
from tests.bays.floor.cases import drawing, rect
from tests.bays.floor.halls import RADIUS_MM, VAN, workshop

WORKSHOP = FloorPlan.from_content(workshop())
SOLIDS = [list(o.polygon.exterior.coords)[:-1] for o in WORKSHOP.obstacles]


def test_same_question_is_answered_from_what_is_kept() -> None:
    asked = (WORKSHOP, VAN, RADIUS_MM, WORKSHOP.doors[0])
    assert reach(*asked) is reach(FloorPlan.from_content(workshop()), *asked[1:])
    assert reach(*asked, frozenset({ZoneId("S1")})) is not reach(*asked)


def test_places_reached_are_where_their_moves_lead_and_can_be_driven_to() -> None:
    found = fresh_map(WORKSHOP, VAN, RADIUS_MM, Pose(9000, 10_000, 0))
    flood = found.flood()
    rng = np.random.default_rng(5)
    for node in rng.integers(1, flood.count, 12):
        root, pieces = flood.way_to(int(node))
        end = end_of(flood.starts[root], pieces)
        assert end[:2] == pytest.approx((flood.nodes.x[node], flood.nodes.y[node]), abs=1e-3)
        path = drawn_out(flood.starts[root], pieces)
        outline = [list(p) for p in WORKSHOP.outline.exterior.coords[:-1]]
        assert_drivable(path, VAN, RADIUS_MM, outline, SOLIDS, most_bodies=60)


@pytest.mark.parametrize(
    ("start", "end", "inward"),
    [((0, 2000), (0, 5000), 0), ((10_000, 2000), (10_000, 5000), 180), ((2000, 0), (5000, 0), 90)],
)
def test_inward_is_square_to_the_door(
    start: tuple[int, int], end: tuple[int, int], inward: float
) -> None:
    door = {"id": "d", "from": list(start), "to": list(end)}
    plan = FloorPlan.from_content(drawing(rect(0, 0, 10_000, 10_000), doors=[door]))
    assert inward_deg(plan, plan.doors[0]) == pytest.approx(inward)


def test_strip_before_a_door_stops_at_another_wing_of_the_building() -> None:
    # a U: the door in the left wing opens into the yard, 5 m from the right wing
    outline = [
        *([0, 0], [15_000, 0], [15_000, 10_000], [10_000, 10_000]),
        *([10_000, 3000], [5000, 3000], [5000, 10_000], [0, 10_000]),
    ]
    door = {"id": "d", "from": [5000, 5000], "to": [5000, 8000]}
    plan = FloorPlan.from_content(drawing(outline, doors=[door]))
    strip = strip_before(plan, VAN, plan.doors[0])
    assert strip.bounds[2] < 10_000
    assert strip.area == pytest.approx(5000 * 3000, rel=0.01)


def test_no_room_to_stand_before_the_door_means_no_start() -> None:
    outline = [
        *([0, 0], [15_000, 0], [15_000, 10_000], [10_000, 10_000]),
        *([10_000, 3000], [5000, 3000], [5000, 10_000], [0, 10_000]),
    ]
    door = {"id": "d", "from": [5000, 5000], "to": [5000, 8000]}
    plan = FloorPlan.from_content(drawing(outline, doors=[door]))
    assert fresh_map(plan, VAN, RADIUS_MM, plan.doors[0]).starts == ()


class _Block:
    def __init__(self, nbytes: int) -> None:
        self.nbytes = nbytes


def test_kept_answers_stay_within_their_memory() -> None:
    kept: Kept[str, _Block] = Kept(100)
    kept.put("a", _Block(60))
    kept.put("b", _Block(30))
    assert kept.get("a") is not None
    kept.put("c", _Block(40))
    assert kept.get("b") is None
    assert kept.nbytes == 100
    kept.put("d", _Block(500))
    assert kept.get("d") is not None
    assert kept.get("a") is None
