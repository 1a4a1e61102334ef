"""Changes to a drawing that is still being drawn."""

from __future__ import annotations

import copy
from typing import Any

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from bays.floor import FloorPlan, PlanFaults, edits
from bays.floor.edits import Box
from bays.floor.names import heading_along, in_reading_order
from shopcal.errors import NotFound
from tests.bays.floor.cases import bay, column, drawing, rect, zone

HALL = edits.as_drawing(
    drawing(
        rect(0, 0, 12000, 8000),
        obstacles=[column("C1", 11000, 3000, 11300, 3300)],
        zones=[zone("B1", 1000, 1000, 4500, 7000), zone("B2", 4500, 1000, 8000, 7000)],
        bays=[bay("B1", ["B1"], [2700, 4000]), bay("B12", ["B1", "B2"], [4500, 4000])],
    )
)


def test_an_edition_taken_up_and_published_again_is_the_same() -> None:
    content = {**drawing(rect(0, 0, 12000, 8000)), "bays": []}
    again = edits.for_publishing(edits.as_drawing(content))
    assert FloorPlan.from_content(again).digest == FloorPlan.from_content(content).digest


@pytest.mark.parametrize(
    ("content", "path"),
    [
        (None, ""),
        ([], ""),
        ({"obstacels": []}, "obstacels"),
        ({"outline": "big"}, "outline"),
        ({"outline": [[0, "a"]]}, "outline[0]"),
        ({"outline": [[0, float("inf")]]}, "outline[0]"),
        ({"outline": [[0, 5e9]]}, "outline[0]"),
        ({"zones": [7]}, "zones[0]"),
        ({"zones": [{"id": ["a"]}]}, "zones[0].id"),
        ({"doors": [{"from": [1]}]}, "doors[0].from"),
        ({"bays": [{"heading_deg": "north"}]}, "bays[0].heading_deg"),
        ({"holes": {}}, "holes"),
    ],
)
def test_what_cannot_even_be_drawn_is_refused_with_its_place(content: Any, path: str) -> None:
    with pytest.raises(PlanFaults) as refused:
        edits.as_drawing(content)
    assert path in [error.path for error in refused.value.errors]


@pytest.mark.parametrize("kind", ["bay", "rack", "aisle", *edits.OBSTACLE_KINDS])
def test_a_new_thing_has_a_code_that_is_free(kind: str) -> None:
    ring = rect(8500, 1000, 9500, 2000)
    changed, ref = edits.add(HALL, kind, ring)
    again, second = edits.add(changed, kind, rect(9600, 1000, 10600, 2000))
    key = ref.partition(".")[0]
    codes = [row["id"] for row in again[key]]
    assert len(set(codes)) == len(codes)
    assert second != ref
    assert FloorPlan.from_content(edits.for_publishing(again))
    assert HALL["zones"] == edits.as_drawing(HALL)["zones"]  # the drawing given is left alone


def test_a_bay_or_rack_can_be_stood_in_and_an_aisle_cannot() -> None:
    ring = rect(8500, 1000, 10500, 7000)
    for kind, count in (("bay", 3), ("rack", 3), ("aisle", 2)):
        assert len(edits.add(HALL, kind, ring)[0]["bays"]) == count


def test_a_zone_takes_its_bay_with_it_and_leaves_joined_bays() -> None:
    changed = edits.remove(HALL, "zones.0")
    assert [b["id"] for b in changed["bays"]] == ["B12"]
    assert changed["bays"][0]["zones"] == ["B2"]
    assert edits.remove(changed, "zones.0")["bays"] == []


def test_joined_zones_are_one_bay_with_its_middle_in_them() -> None:
    changed, ref = edits.add_joined_bay(HALL, ["B1", "B2"])
    row = changed["bays"][int(ref.partition(".")[2])]
    assert (row["zones"], row["centre"]) == (["B1", "B2"], [4500, 4000])
    assert FloorPlan.from_content(edits.for_publishing(changed))


@given(st.integers(-3000, 3000), st.integers(-900, 900))
def test_the_middle_of_a_bay_moves_with_its_zone(dx: int, dy: int) -> None:
    after = copy.deepcopy(HALL)
    ring = [[x + dx, y + dy] for x, y in after["zones"][0]["polygon"]]
    after["zones"][0]["polygon"] = ring
    settled = edits.settled(HALL, after)
    assert settled["bays"][0]["centre"] == [2700 + dx, 4000 + dy]


def test_a_middle_left_outside_by_another_shape_is_put_inside() -> None:
    after = copy.deepcopy(HALL)
    after["zones"][0]["polygon"] = rect(1000, 5000, 4500, 7000)
    settled = edits.settled(HALL, after)
    assert Polygon(after["zones"][0]["polygon"]).covers(shapely.Point(settled["bays"][0]["centre"]))


def test_a_middle_that_somebody_typed_is_left_alone() -> None:
    after = copy.deepcopy(HALL)
    after["bays"][0]["centre"] = [2000, 2000]
    assert edits.settled(HALL, after)["bays"][0]["centre"] == [2000, 2000]


@given(
    st.integers(-9000, 9000), st.integers(-9000, 9000),
    st.integers(200, 9000), st.integers(200, 9000), st.floats(-180, 180),
)  # fmt: skip
def test_a_rectangle_is_known_again_by_its_sizes(
    x: int, y: int, width: int, depth: int, turn: float
) -> None:
    box = Box(x, y, width, depth, turn)
    found = edits.as_box(box.ring())
    assert found is not None
    assert (found.x, found.y) == (x, y)
    assert abs(found.width - width) <= 1
    assert abs(found.depth - depth) <= 1
    assert Polygon(found.ring()).hausdorff_distance(Polygon(box.ring())) < 3


@pytest.mark.parametrize(
    "ring",
    [
        [[0, 0], [1000, 0], [1000, 1000]],
        [[0, 0], [1000, 0], [1300, 1000], [0, 1000]],
        [[0, 0], [1000, 0], [1200, 1000], [200, 1000]],
    ],
)
def test_another_shape_is_no_rectangle(ring: list[list[int]]) -> None:
    assert edits.as_box(ring) is None


def test_a_shape_is_stretched_into_its_box() -> None:
    ell = [[0, 0], [2000, 0], [2000, 1000], [1000, 1000], [1000, 3000], [0, 3000]]
    fitted = edits.fitted(ell, Box(500, 500, 4000, 3000))
    assert Polygon(fitted).bounds == (500, 500, 4500, 3500)
    assert Polygon(fitted).area == pytest.approx(Polygon(ell).area * 2)


@given(st.lists(st.tuples(st.integers(0, 999), st.integers(0, 999)), min_size=3, max_size=8))
def test_four_quarter_turns_bring_a_shape_back_to_a_millimetre(corners: list) -> None:
    ring = [list(corner) for corner in corners]
    turned = ring
    for _ in range(4):
        turned = edits.quarter_turned(turned)
    for (ax, ay), (bx, by) in zip(ring, turned, strict=True):
        assert abs(ax - bx) <= 4
        assert abs(ay - by) <= 4


def test_a_thing_that_is_gone_is_said_to_be() -> None:
    for ref in ("zones.9", "walls", "zones.-1", "zones.x", "", "name.0"):
        with pytest.raises(NotFound):
            edits.place_of(HALL, ref)


def test_shapes_are_read_like_a_page() -> None:
    # two lines of three, given in a muddle; the upper line a little uneven
    shapes = [rect(x, y, x + 3000, y + 5000) for y in (0, 8000) for x in (8000, 0, 4000)]
    shapes[4][0][1] += 300
    found = [(shape[0][0], shape[0][1] > 5000) for shape in in_reading_order(shapes)]
    assert found == [
        (0, True),
        (4000, True),
        (8000, True),
        (0, False),
        (4000, False),
        (8000, False),
    ]


@pytest.mark.parametrize(
    ("ring", "heading"),
    [
        (rect(0, 0, 3000, 7000), 90),
        (rect(0, 0, 7000, 3000), 0),
        (Box(0, 0, 7000, 3000, 30).ring(), 30),
    ],
)
def test_vehicles_face_along_the_longer_side(ring: list[list[int]], heading: float) -> None:
    assert heading_along(ring) == pytest.approx(heading, abs=0.05)
