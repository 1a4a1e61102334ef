"""Each way to draw a floor wrongly is refused with words and the place where it can be seen."""

from __future__ import annotations

import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from bays.floor import FloorPlan, PlanFault, PlanFaults
from bays.floor.drawing import NARROWEST_DOOR_MM
from bays.floor.marks import crossing_marks
from tests.bays.floor.cases import bay, column, drawing, rect, zone

HALL = rect(0, 0, 12000, 8000)


def _only_fault(content: object) -> PlanFault:
    with pytest.raises(PlanFaults) as refused:
        FloorPlan.from_content(content)  # type: ignore[arg-type]
    (fault,) = refused.value.faults
    assert refused.value.facts["marks"][0]["path"] == fault.path
    return fault


def test_a_crossing_of_the_outline_is_marked_where_the_lines_cross() -> None:
    # the diagonals of a rectangle halve each other
    crossed = [[0, 0], [12000, 8000], [12000, 0], [0, 8000]]
    fault = _only_fault(drawing(crossed))
    assert fault.path == "outline"
    assert fault.marks == (((6000.0, 4000.0),),)


def test_every_crossing_is_marked() -> None:
    # a five-pointed star drawn in one line crosses itself five times
    star = [shapely.affinity.rotate(Point(0, 9000), 144 * i, origin=(0, 0)) for i in range(5)]
    corners = [(round(point.x), round(point.y)) for point in star]
    marks = crossing_marks(corners)
    assert len(marks) == 5
    line = LineString([*corners, corners[0]])
    for ((x, y),) in marks:
        assert line.distance(Point(x, y)) < 1


def test_a_line_that_turns_back_on_itself_is_marked_at_its_tip() -> None:
    spike = [(0, 0), (8000, 0), (8000, 6000), (4000, 6000), (4000, 9000), (4000, 6000), (0, 6000)]
    assert ((4000.0, 9000.0),) in crossing_marks(spike)


def test_the_part_of_a_bay_outside_the_floor_is_marked() -> None:
    content = drawing(HALL, zones=[zone("B1", 1000, 1000, 4500, 9500)])
    fault = _only_fault(content)
    assert "reaches outside the floor" in fault.says
    assert Polygon(fault.marks[0]).equals(Polygon(rect(1000, 8000, 4500, 9500)))


def test_an_overlap_of_zones_is_marked() -> None:
    zones = [zone("B1", 1000, 1000, 4500, 7000), zone("B2", 4000, 500, 8000, 6000)]
    fault = _only_fault(drawing(HALL, zones=zones))
    assert "overlaps" in fault.says
    assert Polygon(fault.marks[0]).equals(Polygon(rect(4000, 1000, 4500, 6000)))


@pytest.mark.parametrize("wide", [600, NARROWEST_DOOR_MM - 1])
def test_a_door_narrower_than_any_vehicle_is_marked(wide: int) -> None:
    door = {"id": "D1", "from": [0, 2000], "to": [0, 2000 + wide]}
    fault = _only_fault(drawing(HALL, doors=[door]))
    assert f"is {wide} mm wide" in fault.says
    assert fault.marks == (((0.0, 2000.0), (0.0, 2000.0 + wide)),)


def test_a_door_just_wide_enough_is_none_of_them() -> None:
    door = {"id": "D1", "from": [0, 2000], "to": [0, 2000 + NARROWEST_DOOR_MM]}
    assert FloorPlan.from_content(drawing(HALL, doors=[door])).doors[0].width_mm == 1800


def test_a_door_off_the_wall_is_marked_at_its_end_and_as_a_whole() -> None:
    door = {"id": "D1", "from": [0, 2000], "to": [700, 5000]}
    fault = _only_fault(drawing(HALL, doors=[door]))
    assert fault.path == "doors[0].to"
    assert fault.marks[0] == ((700.0, 5000.0),)


@pytest.mark.parametrize(
    ("content", "path", "area_mm2"),
    [
        # 1 m of the hole reaches over the east wall
        (drawing(HALL, holes=[rect(11000, 3000, 13000, 4000)]), "holes[0]", 1_000_000),
        (
            drawing(HALL, holes=[rect(1000, 1000, 3000, 3000), rect(2000, 2000, 4000, 4000)]),
            "holes[1]",
            1_000_000,
        ),
        (
            drawing(HALL, obstacles=[column("C1", 20000, 0, 20400, 500)]),
            "obstacles[0].polygon",
            200_000,
        ),
    ],
)
def test_holes_and_obstacles_out_of_place_are_marked(
    content: object, path: str, area_mm2: int
) -> None:
    fault = _only_fault(content)
    assert fault.path == path
    assert Polygon(fault.marks[0]).area == area_mm2


def test_a_middle_outside_its_bay_is_marked_with_the_bay() -> None:
    content = drawing(
        HALL,
        zones=[zone("B1", 1000, 1000, 4500, 7000)],
        bays=[bay("B1", ["B1"], [6000, 4000])],
    )
    fault = _only_fault(content)
    assert fault.marks[0] == ((6000.0, 4000.0),)
    assert Polygon(fault.marks[1]).area == 3500 * 6000


def test_a_code_longer_than_a_booking_can_hold_is_refused() -> None:
    long = {**zone("B1", 1000, 1000, 4500, 7000), "id": "b" * 81}
    with pytest.raises(PlanFaults) as refused:
        FloorPlan.from_content(drawing(HALL, zones=[long]))
    assert refused.value.errors[0].path == "zones[0].id"
