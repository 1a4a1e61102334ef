from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import pytest
from shapely.geometry import Polygon

from bays.floor import FloorPlan, Obstacle, Placement, Pose, ZoneId, check_pose, why_not
from bays.floor.drive import Drive, Impossible, NotFound, WaysIn
from bays.floor.ground import DriveFact, FloorVerdict, drive_fact, ways_from_doors
from bays.floor.remedies import emptyings, movable, removals, when_all, without
from bays.floor.sayings import Phone
from bays.floor.standing import placement_at, stand
from tests.bays.floor.cases import HATCHBACK, bay, column, drawing, parts_of, rect, zone

NOON = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)
SQUARE = Polygon([(0, 0), (1, 0), (1, 1), (0, 1)])


def ids(*names: str) -> frozenset[ZoneId]:
    return frozenset(ZoneId(name) for name in names)


def placed(*names: str, margin_mm: float = 100.0) -> Placement:
    """A placement of which only the zones and the margin matter."""
    zones = ids(*names)
    return Placement("+".join(names), zones, Pose(0, 0, 0), margin_mm, (), "", (), ())


def test_only_smallest_sets_to_empty_are_told() -> None:
    found = [placed("B1", "B2"), placed("B1"), placed("B2", "B3")]
    told = emptyings(found, ids("B1", "B2", "B3"))
    assert [sorted(way.zones) for way in told] == [["B1"], ["B2", "B3"]]


def test_the_set_that_is_free_soonest_comes_first() -> None:
    times = {ZoneId("B1"): NOON + timedelta(hours=2), ZoneId("B2"): NOON}
    occupied = ids("B1", "B2", "B3")
    told = emptyings(
        [placed("B1"), placed("B2"), placed("B3")], occupied, when_all(times, occupied)
    )
    assert [sorted(way.zones) for way in told] == [["B2"], ["B1"], ["B3"]]
    assert [way.free_at for way in told] == [NOON, NOON + timedelta(hours=2), None]


def test_zones_together_are_free_when_the_last_of_them_is() -> None:
    times = {ZoneId("B1"): NOON + timedelta(hours=2), ZoneId("B2"): NOON}
    together = when_all(times, ids("B1", "B2", "B3"))
    assert together(ids("B1", "B2")) == NOON + timedelta(hours=2)
    assert together(ids("B1", "B2", "B3")) is None


def test_of_placements_with_the_same_zones_to_empty_the_roomier_is_told() -> None:
    found = [placed("B1", "A", margin_mm=50), placed("B1", "C", margin_mm=80)]
    (way,) = emptyings(found, ids("B1"))
    assert way.placement.margin_mm == 80


@pytest.mark.parametrize(
    ("kind", "can_be"),
    [
        ("rack", True),
        ("tyre rack", True),
        ("work_bench", True),
        ("Tool-Cabinet", True),
        ("equipment", True),
        ("column", False),
        ("lift post", False),
        ("room", False),
        ("rack column", False),
        ("", False),
    ],
)
def test_what_can_be_moved_goes_by_the_last_word_of_its_kind(kind: str, can_be: bool) -> None:
    assert movable(Obstacle("X", kind, SQUARE)) is can_be


LANE = FloorPlan.from_content(
    drawing(
        rect(0, 0, 7400, 6000),
        obstacles=[
            {"id": "R1", "kind": "rack", "polygon": rect(0, 0, 500, 3000)},
            {"id": "R2", "kind": "rack", "polygon": rect(0, 3000, 500, 6000)},
            column("C4", 7200, 2900, 7400, 3100),
        ],
        zones=[zone("B1", 0, 0, 7400, 3000), zone("B2", 0, 3000, 7400, 6000)],
        bays=[
            bay("1", ["B1"], [3700, 1500], heading=0),
            bay("2", ["B2"], [3700, 4500], heading=0),
        ],
    )
)
# 7000 long, 2900 wide
LONG = parts_of(1150, 1000, 500)


def test_every_single_thing_that_would_do_is_found_and_no_other() -> None:
    # a lane is 6900 behind its rack; without the rack 7400, less 200 beside the column
    told = removals(LANE, LONG, (0.0,))
    assert sorted(one.obstacle for one in told) == ["R1", "R2"]
    for one in told:
        assert check_pose(without(LANE, one.obstacle), LONG, one.placement.pose).ok
        assert not any(zone.startswith("moved") for zone in one.placement.zones)
    # with the first bay taken only the other rack is of use
    told = removals(LANE, LONG, (0.0,), occupied=ids("B1"))
    assert [one.obstacle for one in told] == ["R2"]


def test_of_some_bays_only_the_things_there_are_named() -> None:
    told = removals(LANE, LONG, None, bays={"2"})
    assert [one.obstacle for one in told] == ["R2"]


def test_it_is_said_what_could_be_moved() -> None:
    told = why_not(LANE, LONG, None, frozenset())
    assert told.answer.endswith("It fits if rack R1 or rack R2 is moved.")
    assert told.outcome in ("too_small", "not_found")


THREE = FloorPlan.from_content(
    drawing(
        rect(0, 0, 9600, 7000),
        zones=[zone(f"B{i}", 3200 * i - 3200, 0, 3200 * i, 7000) for i in (1, 2, 3)],
        bays=[bay(str(i), [f"B{i}"], [3200 * i - 1600, 3500]) for i in (1, 2, 3)],
    )
)


def test_standing_in_a_bay_takes_no_more_than_it_needs() -> None:
    two = THREE.bays[1]
    narrow = stand(THREE, parts_of(500, 500, 500), two, 90)
    assert narrow is not None
    assert narrow.zones == ids("B2")
    # 3200 - 2900 = 300 beside, 7000 - 5850 = 1150 along
    assert narrow.margin_mm == pytest.approx(150, abs=1)
    wide = parts_of(500, 500, 1200)
    left = stand(THREE, wide, two, 90, ids("B3"))
    assert left is not None
    assert left.zones == ids("B1", "B2")
    assert stand(THREE, wide, two, 90, ids("B1", "B3")) is None


def test_a_pose_as_a_placement_has_the_margin_to_what_it_does_not_take() -> None:
    parts = parts_of(500, 500, 500)
    there = placement_at(THREE, parts, Pose(4800, 1650, 90))
    assert there.zones == ids("B2")
    assert there.bay_ids == ("2",)
    # rear edge at 1650 - 1550 = 100
    assert there.margin_mm == pytest.approx(100)


def way_in(zones: Sequence[str] = (), minutes: float = 2.0) -> Drive:
    return Drive((), SQUARE, ids(*zones), 1, 9000.0, minutes, "forward")


NO_WAY = NotFound("No way was found.")
PROVEN = Impossible("There is no way.", "The door is narrower than the body.")


def fact(now: WaysIn, empty: WaysIn) -> DriveFact:
    def find(pose: Pose, occupied: frozenset[ZoneId]) -> WaysIn:
        return now if occupied else empty

    return drive_fact(find, placed("B2"), ids("B3", "A1"))


@pytest.mark.parametrize(
    ("now", "empty", "said"),
    [
        (WaysIn(way_in(), way_in()), WaysIn(way_in(), way_in()), ""),
        (
            WaysIn(NO_WAY, way_in()),
            WaysIn(way_in(), way_in()),
            "It passes the door only in reverse.",
        ),
        (
            WaysIn(PROVEN, PROVEN),
            WaysIn(way_in(["B3", "B2"]), NO_WAY),
            "It cannot be driven there from the door while Bay 3 is occupied.",
        ),
        (
            WaysIn(NO_WAY, PROVEN),
            WaysIn(way_in(["B3"]), NO_WAY),
            "No way there from the door was found while Bay 3 is occupied.",
        ),
        (
            WaysIn(PROVEN, PROVEN),
            WaysIn(PROVEN, PROVEN),
            "It cannot be driven there from the door.",
        ),
        (
            WaysIn(NO_WAY, NO_WAY),
            WaysIn(NO_WAY, NO_WAY),
            "No way there from the door was found; that is no proof that there is none.",
        ),
    ],
)
def test_the_way_in_is_said_as_far_as_it_is_known(now: WaysIn, empty: WaysIn, said: str) -> None:
    assert Phone(THREE).drive(fact(now, empty)) == said


def test_a_place_with_a_way_in_is_told_before_one_without() -> None:
    def find(pose: Pose, occupied: frozenset[ZoneId]) -> WaysIn:
        return WaysIn(way_in(), NO_WAY) if pose.x_mm > 6400 else WaysIn(PROVEN, PROVEN)

    told = why_not(THREE, parts_of(500, 500, 500), None, frozenset(), find_ways=find)
    assert told.fits is not None
    assert told.fits.zones == ids("B3")
    assert told.drive is not None
    assert told.drive.drivable == "yes"
    nowhere = why_not(
        THREE,
        parts_of(500, 500, 500),
        None,
        frozenset(),
        find_ways=lambda *_: WaysIn(PROVEN, PROVEN),
    )
    assert nowhere.says.endswith("to spare. It cannot be driven there from the door.")


def hall(door_mm: int) -> FloorPlan:
    """One bay of 6 x 12 m, a door of some width in the middle of its short wall."""
    return FloorPlan.from_content(
        drawing(
            rect(0, 0, 6000, 12000),
            doors=[
                {
                    "id": "D",
                    "from": [3000 - door_mm // 2, 12000],
                    "to": [3000 + door_mm // 2, 12000],
                }
            ],
            zones=[zone("B1", 0, 0, 6000, 12000)],
            bays=[bay("1", ["B1"], [3000, 5000])],
        )
    )


def test_a_door_wider_than_the_vehicle_is_a_way_in_and_a_narrower_one_is_none() -> None:
    parts = parts_of(500, 500, 500)
    wide, narrow = hall(3400), hall(1800)
    ways = ways_from_doors(wide, HATCHBACK, 5000)
    told = why_not(wide, parts, None, frozenset(), find_ways=ways)
    assert told.drive is not None
    assert told.drive.drivable == "yes"
    assert "cannot be driven" not in told.says
    # 1800 against a body of 1900
    ways = ways_from_doors(narrow, HATCHBACK, 5000)
    told = why_not(narrow, parts, None, frozenset(), find_ways=ways)
    assert told.drive is not None
    assert told.drive.drivable == "impossible"
    assert told.remarks == ("It cannot be driven there from the door.",)


def test_floor_known_to_be_good_is_told_before_floor_nobody_surveyed() -> None:
    def judge(placement: Placement) -> list[FloorVerdict]:
        known = "B3" in placement.zones
        verdict = "yes" if known else "unknown"
        return [FloorVerdict("level", verdict, "Level.", "level" if known else "no_survey")]  # type: ignore[arg-type]

    told = why_not(THREE, parts_of(500, 500, 500), None, frozenset(), judge=judge)
    assert told.fits is not None
    assert told.fits.zones == ids("B3")
    assert told.remarks == ()


def test_room_on_a_slope_is_told_beside_what_would_have_to_be_empty() -> None:
    def judge(placement: Placement) -> list[FloorVerdict]:
        verdict = "no" if "B1" in placement.zones else "yes"
        says = "The floor slopes 1.4 % there, 1 % allowed."
        return [FloorVerdict("level", verdict, says, "not_level")]  # type: ignore[arg-type]

    told = why_not(THREE, parts_of(500, 500, 496), None, ids("B2", "B3"), judge=judge)
    assert told.zones_to_empty == (ids("B2"), ids("B3"))
    assert told.says == (
        "It fits if Bay 2 is empty or if Bay 3 is empty. It would fit in Bay 1 with 15 cm to "
        "spare, but the floor slopes 1.4 % there, 1 % allowed."
    )
