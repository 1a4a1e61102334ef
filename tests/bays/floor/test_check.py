from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point

from bays.floor import FloorPlan, Pose, check_pose, feasible
from tests.bays.floor.cases import column, drawing, parts_of, rect, zone

ROOM = drawing(
    rect(0, 0, 12000, 6000),
    obstacles=[column("C4", 900, 2800, 1200, 3200)],
    zones=[zone("B1", 0, 0, 6000, 6000), zone("B2", 6000, 0, 12000, 6000)],
)
PLAN = FloorPlan.from_content(ROOM)
# zone: x from -2050 to 4800, y from -1450 to 1450
PARTS = parts_of(1000, 1000, 500)


def test_a_clear_pose_is_good_and_tells_its_margin_and_zones() -> None:
    report = check_pose(PLAN, PARTS, Pose(4000, 3000, 0))
    assert report.ok
    assert report.shortfalls == ()
    assert report.zones == {"B1", "B2"}
    # rear edge at 1950, column to 1200; sides 1550 to the walls
    assert report.margin_mm == pytest.approx(750)


def test_shortfall_behind_is_told_against_the_column() -> None:
    report = check_pose(PLAN, PARTS, Pose(3130, 3000, 0))
    assert not report.ok
    assert report.margin_mm == 0
    (short,) = report.shortfalls
    assert (short.side, short.against) == ("rear", ("C4",))
    assert short.by_mm == pytest.approx(120, abs=0.05)


@pytest.mark.parametrize(
    ("pose", "side", "by_mm"),
    [
        (Pose(7300, 3000, 0), "front", 100),
        (Pose(4000, 1250, 0), "right", 200),
        (Pose(4000, 4600, 0), "left", 50),
        # turned round, the same wall is on the other side
        (Pose(6000, 4600, 180), "right", 50),
        (Pose(9970, 3000, 180), "rear", 20),
    ],
)
def test_shortfall_against_each_wall(pose: Pose, side: str, by_mm: float) -> None:
    (short,) = check_pose(PLAN, PARTS, pose).shortfalls
    assert (short.side, short.against) == (side, ("wall",))
    assert short.by_mm == pytest.approx(by_mm, abs=0.05)


def test_a_corner_is_short_on_two_sides_worst_first() -> None:
    report = check_pose(PLAN, PARTS, Pose(7300, 1250, 0))
    assert [(s.side, round(s.by_mm)) for s in report.shortfalls] == [("right", 200), ("front", 100)]


def test_an_occupied_zone_is_solid_and_a_free_one_is_not() -> None:
    pose = Pose(4000, 3000, 0)
    report = check_pose(PLAN, PARTS, pose, {"B2"})  # type: ignore[arg-type]
    assert not report.ok
    (short,) = report.shortfalls
    assert (short.side, short.against) == ("front", ("B2",))
    assert short.by_mm == pytest.approx(2800, abs=0.05)


def test_touching_is_allowed() -> None:
    report = check_pose(PLAN, PARTS, Pose(7200, 1450, 0))
    assert report.ok
    assert report.margin_mm == pytest.approx(0, abs=1e-6)
    touching_zone = check_pose(PLAN, PARTS, Pose(8050, 3000, 180), {"B1"})  # type: ignore[arg-type]
    assert touching_zone.zones == {"B1", "B2"}


def test_margin_that_tolerances_need_is_asked_for_and_its_lack_told() -> None:
    careful = parts_of(1000, 1000, 500, position_tolerance_mm=80)
    report = check_pose(PLAN, careful, Pose(7150, 3000, 0))
    assert not report.ok
    assert report.margin_mm == pytest.approx(50)
    (short,) = report.shortfalls
    assert (short.side, short.against) == ("front", ("wall",))
    # 80 needed, 50 there
    assert short.by_mm == pytest.approx(30, abs=0.05)


def test_a_vehicle_outside_the_shop_is_not_good() -> None:
    assert not check_pose(PLAN, PARTS, Pose(50000, 3000, 0)).ok
    assert not check_pose(PLAN, PARTS, Pose(-4000, 3000, 90)).ok


@settings(max_examples=80, deadline=None)
@given(st.floats(0, 12000), st.floats(0, 6000), st.floats(0, 359))
def test_check_and_region_agree(x: float, y: float, heading: float) -> None:
    region = feasible(PLAN, PARTS, heading)
    report = check_pose(PLAN, PARTS, Pose(x, y, heading))
    assert report.ok == (not report.shortfalls)
    if report.ok and report.margin_mm > 0.05:
        assert region.free.covers(Point(x, y))
    if not report.ok and max(s.by_mm for s in report.shortfalls) > 0.05:
        assert not region.free.contains(Point(x, y))


def test_drawing_in_the_sides_that_are_short_clears_the_pose() -> None:
    pose = Pose(7300, 1250, 0)
    give = {s.side: s.by_mm for s in check_pose(PLAN, PARTS, pose).shortfalls}
    assert set(give) == {"front", "right"}
    enough = parts_of(1000, 1000 - give["front"], 500 - give["right"])
    assert check_pose(PLAN, enough, pose).ok
    too_little = parts_of(1000, 1000 - give["front"] + 1, 500 - give["right"])
    assert not check_pose(PLAN, too_little, pose).ok


def test_room_for_tolerances_counts_as_taken() -> None:
    pose = Pose(1180, 3000, 0)
    far = FloorPlan.from_content({**ROOM, "obstacles": []})
    assert check_pose(far, parts_of(0, 1000, 500), pose).zones == {"B1"}
    careful = parts_of(0, 1000, 500, position_tolerance_mm=30)
    assert check_pose(far, careful, pose).zones == {"B1", "B2"}
