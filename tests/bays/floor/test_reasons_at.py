"""What is said of one bay or one pose, on floors small enough to be worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from bays.floor import (
    ClearZone,
    FloorPlan,
    Part,
    Placement,
    Pose,
    ZoneId,
    check_pose,
    resolve,
    why_not,
)
from bays.floor.ground import FloorVerdict
from bays.floor.remedies import when_all
from tests.bays.floor.cases import HATCHBACK, bay, column, drawing, parts_of, rect, zone

AT_1410 = datetime(2026, 3, 3, 14, 10, tzinfo=UTC)


def clock(moment: datetime) -> str:
    return f"{moment:%H:%M}"


def zones(*names: str) -> frozenset[ZoneId]:
    return frozenset(ZoneId(name) for name in names)


def wide_behind() -> tuple[Part, ...]:
    """4850 x 1900 with 2900 wide floor from 1150 behind to the front, and 600 wide 1000 ahead."""
    left, right = {"datum": "left", "offset_mm": 500}, {"datum": "right", "offset_mm": -500}
    behind = {
        "from_x": {"datum": "rear", "offset_mm": -1150},
        "to_x": {"datum": "front"},
        "from_y": right,
        "to_y": left,
    }
    ahead = {
        "from_x": {"datum": "front"},
        "to_x": {"datum": "front", "offset_mm": 1000},
        "from_y": {"datum": "centreline", "offset_mm": -300},
        "to_y": {"datum": "centreline", "offset_mm": 300},
    }
    content = {"parts": [{"rect": behind}, {"rect": ahead}]}
    return resolve(ClearZone.from_content(content), HATCHBACK)


def lane(length: int = 7110, **more: Any) -> FloorPlan:
    """One bay 7110 long and 3010 wide, its heading along +x, with a column in a corner behind."""
    drawn = {
        "obstacles": [column("C4", 0, 0, 230, 800)],
        "zones": [zone("B2", 0, 0, length, 3010)],
        "bays": [{**bay("2", ["B2"], [length // 2, 1505], heading=0), "name": "Bay 2"}],
    }
    return FloorPlan.from_content(drawing(rect(0, 0, length, 3010), **{**drawn, **more}))


def test_a_column_behind_is_no_matter_once_the_vehicle_is_turned_round() -> None:
    # behind the column 7110 - 230 = 6880 are left of the 7000 needed; turned round the narrow
    # front passes beside it, and (7110 - 7000) / 2 = 55 are left at either end
    told = why_not(lane(), wide_behind(), None, frozenset(), at="2")
    assert told.says == (
        "In Bay 2 it is short by 12 cm behind, against column C4, unless the vehicle is turned "
        "round: then it fits with 5 cm to spare."
    )
    (short,) = told.shortfalls
    assert (short.side, short.against) == ("rear", ("C4",))
    assert short.by_mm == pytest.approx(120, abs=0.5)
    assert (told.outcome, told.turned_round) == ("turned", True)
    assert told.fits is not None
    assert told.fits.pose.heading_deg == 180
    assert told.spare_mm == pytest.approx(55, abs=1)
    assert told.pose is not None
    assert not check_pose(lane(), wide_behind(), told.pose).ok


def test_in_a_bay_that_is_good_only_the_room_is_said() -> None:
    told = why_not(lane(obstacles=[]), wide_behind(), None, frozenset(), at="2")
    assert told.says == "It fits in Bay 2 with 5 cm to spare."
    assert told.turned_round is None
    assert told.bay == "2"


def test_an_exact_fit_just_fits() -> None:
    told = why_not(lane(7000, obstacles=[]), wide_behind(), None, frozenset(), at="2")
    assert told.says == "It just fits in Bay 2."
    assert told.spare_mm == pytest.approx(0, abs=0.4)


def test_a_bay_too_short_either_way_round_is_short_by_the_lesser() -> None:
    # 7000 needed, 6880 behind the column; the other way round 6950 from wall to wall
    told = why_not(lane(6950), wide_behind(), None, frozenset(), at="2")
    (short,) = told.shortfalls
    assert short.by_mm == pytest.approx(50, abs=0.5)
    assert short.against == ("wall",)
    assert told.turned_round is False
    assert told.says.startswith("In Bay 2 it is short by 5 cm")


def test_a_rack_that_can_be_moved_is_named_and_a_column_is_not() -> None:
    both_ends = [
        {"id": "R2", "kind": "tyre rack", "polygon": rect(0, 0, 230, 3010)},
    ]
    told = why_not(lane(obstacles=both_ends), wide_behind(), None, frozenset(), at="2")
    assert "; it fits if tyre rack R2 is moved." in told.says
    (removal,) = told.removals
    assert (removal.obstacle, removal.movable) == ("R2", True)
    assert removal.placement.margin_mm == pytest.approx(55, abs=1)
    fixed = [{**both_ends[0], "kind": "column"}]
    told = why_not(lane(obstacles=fixed), wide_behind(), None, frozenset(), at="2")
    assert "moved" not in told.says
    assert told.removals == ()


SIDE_BY_SIDE = FloorPlan.from_content(
    drawing(
        rect(0, 0, 9600, 7000),
        zones=[zone(f"B{i}", 3200 * i - 3200, 0, 3200 * i, 7000) for i in (1, 2, 3)],
        bays=[
            {**bay(str(i), [f"B{i}"], [3200 * i - 1600, 3500]), "name": f"Bay {i}"}
            for i in (1, 2, 3)
        ],
    )
)
# 4300 wide, 6000 long: always two bays
TWO_WIDE = parts_of(500, 650, 1200)


def test_the_time_from_which_the_bay_beside_is_empty_is_said_by_the_shops_clock() -> None:
    taken = zones("B1", "B3")
    free_from = when_all({ZoneId("B3"): AT_1410}, taken)
    told = why_not(SIDE_BY_SIDE, TWO_WIDE, None, taken, at="2", free_from=free_from, clock=clock)
    assert told.says.startswith("It fits in Bay 2 if Bay 3 is empty (from 14:10 it is) or if Bay 1")
    assert [sorted(way.zones) for way in told.emptying] == [["B3"], ["B1"]]
    assert [way.free_at for way in told.emptying] == [AT_1410, None]
    assert told.zones_to_empty == (zones("B3"), zones("B1"))


def test_a_bay_that_is_taken_itself_has_to_be_empty() -> None:
    told = why_not(SIDE_BY_SIDE, parts_of(0, 0, 500), None, zones("B2"), at="2")
    assert told.zones_to_empty == (zones("B2"),)
    assert told.says.startswith("It fits in Bay 2 once it is empty")


def test_no_bay_of_that_name_is_an_error() -> None:
    with pytest.raises(KeyError):
        why_not(SIDE_BY_SIDE, TWO_WIDE, None, frozenset(), at="9")


def sloping(verdict: str, says: str, reason: str) -> Any:
    def judge(placement: Placement) -> list[FloorVerdict]:
        return [FloorVerdict("level", verdict, says, reason)]  # type: ignore[arg-type]

    return judge


def test_a_floor_that_slopes_is_said_with_its_limit() -> None:
    judge = sloping("no", "The floor slopes 1.4 % there, 1 % allowed.", "not_level")
    told = why_not(lane(obstacles=[]), wide_behind(), None, frozenset(), at="2", judge=judge)
    assert told.says == (
        "It would fit in Bay 2 with 5 cm to spare, but the floor slopes 1.4 % there, 1 % allowed."
    )
    assert told.outcome == "floor_unfit"
    assert told.fits is None
    assert [one.verdict for one in told.floor] == ["no"]
    # only the roomiest pose was judged
    assert not told.proven


def test_a_floor_nobody_surveyed_is_offered_and_that_is_said() -> None:
    judge = sloping("unknown", "Nobody has surveyed the floor there.", "no_survey")
    told = why_not(lane(obstacles=[]), wide_behind(), None, frozenset(), at="2", judge=judge)
    assert told.says == (
        "It fits in Bay 2 with 5 cm to spare. How level the floor is was not surveyed there."
    )


# zone: x from -2050 to 4800, y from -1450 to 1450
ROOM = FloorPlan.from_content(
    drawing(
        rect(0, 0, 12000, 6000),
        obstacles=[column("C4", 900, 2800, 1200, 3200)],
        zones=[zone("B1", 0, 0, 6000, 6000), zone("B2", 6000, 0, 12000, 6000)],
    )
)
LONG = parts_of(1000, 1000, 500)


def test_at_a_pose_the_room_there_is_said() -> None:
    # 750 behind to the column; free bays are room as well
    told = why_not(ROOM, LONG, None, frozenset(), at=Pose(4000, 3000, 0))
    assert told.says == "It fits here with 75 cm to spare."
    assert told.spare_mm == pytest.approx(750)


def test_at_a_pose_turning_round_on_the_spot_may_help() -> None:
    # rear edge at 3130 - 2050 = 1080, the column reaches to 1200; turned about the body's middle
    # at 4505 the front edge, 4475 - 1000 before the middle, comes to 1080 as well
    behind_only = parts_of(1000, 0, 500)
    told = why_not(ROOM, behind_only, None, frozenset(), at=Pose(3130, 3000, 0))
    assert told.says == (
        "Here it is short by 12 cm behind, against column C4, unless the vehicle is turned round."
    )
    assert told.turned_round is True
    assert told.fits is not None
    assert check_pose(ROOM, behind_only, told.fits.pose).ok


def test_at_a_pose_that_is_short_both_ways_nothing_is_promised() -> None:
    told = why_not(ROOM, LONG, None, frozenset(), at=Pose(3130, 3000, 0))
    assert told.says == "Here it is short by 12 cm behind, against column C4."
    assert told.turned_round is False
    assert told.fits is None
    assert [one.obstacle for one in told.removals] == ["C4"]


def test_at_a_pose_over_an_occupied_zone_that_zone_must_be_empty() -> None:
    told = why_not(ROOM, LONG, None, zones("B2"), at=Pose(4000, 3000, 0))
    assert told.zones_to_empty == (zones("B2"),)
    assert told.says == "It fits here if Bay 2 is empty, with 75 cm to spare."


def test_square_to_the_bay_no_angle_is_looked_for() -> None:
    # 6880 behind the column; askew it does not fit either, but that is not asked
    told = why_not(lane(6950), wide_behind(), None, frozenset(), at="2", square=True)
    assert told.proven
    assert told.says.startswith("Along Bay 2, either way round, it is short by 5 cm")


def test_square_to_the_bay_every_neighbour_that_would_do_is_named() -> None:
    taken = zones("B1", "B3")
    told = why_not(SIDE_BY_SIDE, TWO_WIDE, None, taken, at="2", square=True)
    assert told.zones_to_empty == (zones("B1"), zones("B3"))
