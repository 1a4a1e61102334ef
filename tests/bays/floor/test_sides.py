"""Room on each side: against closed formulas and against moving the shape until it touches."""

from __future__ import annotations

import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon, box

from bays.floor import FloorPlan, Pose
from bays.floor.sides import nearest_thing, room_on_sides


def hall(*obstacles: tuple[str, list[list[int]]]) -> FloorPlan:
    return FloorPlan.from_content(
        {
            "name": "Hall",
            "outline": [[0, 0], [20000, 0], [20000, 10000], [0, 10000]],
            "obstacles": [{"id": i, "kind": "column", "polygon": p} for i, p in obstacles],
            "doors": [],
            "zones": [],
            "bays": [],
        }
    )


def test_distances_to_four_walls_are_differences_of_coordinates() -> None:
    found = room_on_sides(hall(), box(5000, 3000, 9000, 5000), Pose(5500, 4000, 0))
    told = {room.side: (round(room.gap_mm, 6), room.against) for room in found}
    assert told == {
        "front": (11000, "wall"),
        "rear": (5000, "wall"),
        "left": (5000, "wall"),
        "right": (3000, "wall"),
    }


def test_turned_by_ninety_degrees_the_front_looks_up_the_plan() -> None:
    found = room_on_sides(hall(), box(5000, 3000, 7000, 7000), Pose(6000, 3500, 90))
    gaps = {room.side: room.gap_mm for room in found}
    assert gaps == pytest.approx({"front": 3000, "rear": 3000, "left": 5000, "right": 13000})


def test_column_beside_the_line_of_travel_does_not_count() -> None:
    flush = [[10000, 5000], [10300, 5000], [10300, 5300], [10000, 5300]]
    shape, pose = box(5000, 3000, 9000, 5000), Pose(5500, 4000, 0)
    front = room_on_sides(hall(("C1", flush)), shape, pose)[0]
    assert (front.against, front.gap_mm) == ("wall", pytest.approx(11000))
    in_the_way = [[10000, 4999], [10300, 4999], [10300, 5300], [10000, 5300]]
    front = room_on_sides(hall(("C1", in_the_way)), shape, pose)[0]
    assert (front.against, front.gap_mm) == ("C1", pytest.approx(1000))
    assert front.end == pytest.approx((10000, 4999.5), abs=1)


def test_wall_at_an_angle_is_nearest_at_the_corner_that_faces_it() -> None:
    # A wall rising at 45 degrees: for the corner (1000, 0) it is 1000 sqrt(2) away along it, and
    # straight ahead exactly as far as its own height above the corner, here 2000 mm.
    shape = box(0, 0, 1000, 500)
    slant = Polygon([(3000, -1000), (3000, 0), (4000, 1000), (9000, 1000), (9000, -1000)])
    found = room_on_sides(
        hall(),
        translate(shape, 2000, 4000),
        Pose(2000, 4250, 0),
        {"slant": translate(slant, 2000, 4000)},
    )
    assert found[0].against == "slant"
    assert found[0].gap_mm == pytest.approx(2000, abs=0.05)
    assert found[0].start[1] == pytest.approx(4000, abs=1.1)


def test_equal_room_all_along_is_measured_at_the_middle_of_the_vehicle() -> None:
    found = room_on_sides(hall(), box(5000, 2000, 9000, 6000), Pose(5500, 4000, 0))
    assert found[0].start == pytest.approx((9000, 4000))
    assert found[2].start == pytest.approx((7000, 6000))


def test_nearest_thing_may_lie_across_a_corner() -> None:
    # 300 mm ahead and 400 mm to the left of the shape's corner: 500 mm away (3-4-5 triangle).
    column = [[9300, 5400], [9600, 5400], [9600, 5700], [9300, 5700]]
    found = nearest_thing(hall(("C1", column)), box(5000, 3000, 9000, 5000))
    assert found is not None
    assert (found.against, found.gap_mm) == ("C1", pytest.approx(500))
    assert (found.start, found.end) == ((9000, 5000), (9300, 5400))


def test_shape_that_meets_something_has_no_nearest_thing() -> None:
    column = [[8900, 4900], [9600, 4900], [9600, 5700], [8900, 5700]]
    assert nearest_thing(hall(("C1", column)), box(5000, 3000, 9000, 5000)) is None
    assert nearest_thing(hall(), box(-100, 3000, 9000, 5000)) is None


def test_thing_inside_the_shape_leaves_the_sides_to_what_stands_beyond() -> None:
    column = [[7000, 3900], [7300, 3900], [7300, 4200], [7000, 4200]]
    found = room_on_sides(hall(("C1", column)), box(5000, 3000, 9000, 5000), Pose(5500, 4000, 0))
    assert {room.against for room in found} == {"wall"}


@settings(max_examples=300, deadline=None)
@given(
    heading=st.floats(0, 360),
    x=st.integers(7000, 13000),
    y=st.integers(4000, 6000),
    column=st.tuples(st.integers(500, 19000), st.integers(500, 9000), st.integers(100, 900)),
)
def test_moved_by_its_room_the_shape_just_touches(
    heading: float, x: int, y: int, column: tuple[int, int, int]
) -> None:
    """Not the same arithmetic: the shape is swept over the floor and met by shapely."""
    cx, cy, size = column
    ring = [[cx, cy], [cx + size, cy], [cx + size, cy + size], [cx, cy + size]]
    plan = hall(("C1", ring))
    shape = rotate(
        Polygon([(-1000, -800), (2600, -800), (3400, 0), (2600, 800), (-1000, 800)]),
        heading,
        origin=(0, 0),
    )
    shape = translate(shape, x, y)
    solid = plan.obstacles[0].polygon
    if shape.intersects(solid) or not plan.outline.contains(shape):
        return
    turns = {"front": 0, "left": 90, "rear": 180, "right": 270}
    found = {room.side: room for room in room_on_sides(plan, shape, Pose(x, y, heading))}
    for side, by in turns.items():
        angle = math.radians(heading + by)
        gap = found[side].gap_mm

        def swept(mm: float, angle: float = angle) -> Polygon:
            dx, dy = mm * math.cos(angle), mm * math.sin(angle)
            edges = [
                shapely.MultiPoint([a, b, (a[0] + dx, a[1] + dy), (b[0] + dx, b[1] + dy)])
                for a, b in zip(shape.exterior.coords, shape.exterior.coords[1:], strict=False)
            ]
            return shapely.union_all([shape, *(edge.convex_hull for edge in edges)])

        def clear(mm: float) -> bool:
            area = swept(mm)
            met = area.intersection(solid).area + area.difference(plan.outline).area
            return bool(met < 1e-4)

        assert clear(gap - 1.0 if gap > 1 else 0)
        assert not clear(gap + 60.0)
