from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from bays.floor import FloorPlan, PlanFaults
from tests.bays.floor.cases import bay, column, drawing, rect, zone

GOOD = drawing(
    rect(0, 0, 12000, 8000),
    obstacles=[column("C1", 5000, 3000, 5300, 3300)],
    doors=[{"id": "D1", "from": [0, 2000], "to": [0, 5000], "height_mm": 3200}],
    zones=[zone("B1", 1000, 1000, 4500, 7000), zone("B2", 4500, 1000, 8000, 7000)],
    bays=[bay("B1", ["B1"], [2700, 4000]), bay("B12", ["B1", "B2"], [4500, 4000])],
)


def _faults(content: Any) -> list[tuple[str, str]]:
    with pytest.raises(PlanFaults) as refused:
        FloorPlan.from_content(content)
    return [(error.path, error.says) for error in refused.value.errors]


def _with(change: Callable[[dict[str, Any]], object]) -> dict[str, Any]:
    content = copy.deepcopy(GOOD)
    change(content)
    return content


def _set(path: str, value: object) -> Callable[[dict[str, Any]], object]:
    def change(content: dict[str, Any]) -> None:
        *way, last = path.split(".")
        here: Any = content
        for step in way:
            here = here[int(step)] if isinstance(here, list) else here[step]
        here[int(last) if isinstance(here, list) else last] = value

    return change


def test_good_drawing_is_read() -> None:
    plan = FloorPlan.from_content(GOOD)
    assert plan.summary() == {
        "name": "Hall",
        "width_mm": 12000,
        "depth_mm": 8000,
        "floor_m2": 96.0,
        "outside_bays_m2": 54.0,
        "bays": 2,
        "zones": 3,
        "obstacles": 1,
        "doors": 1,
    }
    assert plan.doors[0].width_mm == 3000
    assert plan.bays[0].headings_deg == (90.0, 270.0)
    assert plan.bays[1].area.area == 42_000_000


@pytest.mark.parametrize(
    ("path", "value", "fault_path", "word"),
    [
        ("name", "", "name", "empty"),
        ("name", 7, "name", "number"),
        ("outline", "big", "outline", "text"),
        ("outline", [], "outline", "no points"),
        ("outline", [[0, 0], [9000, 0]], "outline", "2 points"),
        # two triangles meeting at a point
        ("outline", [[0, 0], [12000, 8000], [12000, 0], [0, 8000]], "outline", "(6000, 4000)"),
        ("outline", [[0, 0], [5, 0], [9, 0]], "outline", "no floor"),
        ("outline", [[0, 0], [0, 0], [9, 0], [9, 9]], "outline[1]", "repeats"),
        ("outline.2", [1, 2, 3], "outline[2]", "is"),
        ("outline.2", [1.5, 2], "outline[2][0]", "1.5"),
        ("outline.2", [True, 2], "outline[2][0]", "yes or no"),
        ("outline.2", [float("nan"), 2], "outline[2][0]", "finite"),
        ("outline.2", [5e9, 2], "outline[2][0]", "5e+09"),
        ("obstacles.0.polygon", [[0, 0], [100, 100]], "obstacles[0].polygon", "2 points"),
        ("obstacles.0.polygon", None, "obstacles[0].polygon", "missing"),
        ("obstacles.0.polygon", rect(20000, 0, 21000, 9), "obstacles[0].polygon", "not on"),
        ("obstacles.0.kind", None, "obstacles[0].kind", "missing"),
        ("obstacles", None, "obstacles", "missing"),
        ("doors.0.to", [3000, 5000], "doors[0].to", "3000 mm off"),
        ("doors.0.to", [0, 2100], "doors[0]", "100 mm wide"),
        # both ends on walls, the way between them across the floor
        ("doors.0.to", [12000, 5000], "doors[0]", "leaves the wall"),
        ("doors.0.height_mm", -5, "doors[0].height_mm", "-5"),
        ("zones.1.kind", "parking", "zones[1].kind", "'parking'"),
        ("zones.1.polygon", rect(4000, 1000, 8000, 7000), "zones[1].polygon", "zones[0] (B1)"),
        ("zones.1.polygon", rect(4500, 1000, 8000, 9000), "zones[1].polygon", "outside"),
        ("bays.0.zones", ["B9"], "bays[0].zones[0]", "'B9'"),
        ("bays.0.zones", [], "bays[0].zones", "no zone"),
        ("bays.0.zones", ["B1", "B1"], "bays[0].zones[1]", "again"),
        ("bays.0.centre", [6000, 4000], "bays[0].centre", "outside the bay"),
        ("bays.1.id", "B1", "bays[1].id", "bays[0]"),
        ("bays.0.heading_deg", "north", "bays[0].heading_deg", "text"),
        ("bays.0.heading_deg", 1000, "bays[0].heading_deg", "1000"),
        ("holes", [rect(11000, 3000, 13000, 4000)], "holes[0]", "not inside"),
        ("obstacels", [], "obstacels", "not known"),
    ],
)
def test_fault_is_told_with_its_path(path: str, value: object, fault_path: str, word: str) -> None:
    found = _faults(_with(_set(path, value)))
    assert [where for where, _ in found] == [fault_path]
    assert word in found[0][1]


def test_a_zone_id_used_twice_is_told_and_so_is_the_bay_that_misses_its_zone() -> None:
    found = dict(_faults(_with(_set("zones.1.id", "B1"))))
    assert set(found) == {"zones[1].id", "bays[1].zones[1]"}
    assert "zones[0]" in found["zones[1].id"]


def test_every_fault_is_told_at_once() -> None:
    def spoil(content: dict[str, Any]) -> None:
        content["name"] = None
        content["obstacles"][0]["polygon"][1] = ["a", 2]
        content["doors"][0]["to"] = [50, 5000]
        content["zones"][1]["polygon"] = rect(4000, 1000, 13000, 7000)
        content["bays"][0]["zones"] = ["B7"]
        del content["bays"][1]["centre"]

    paths = [path for path, _ in _faults(_with(spoil))]
    assert sorted(paths) == [
        "bays[0].zones[0]",
        "bays[1].centre",
        "doors[0].to",
        "name",
        "obstacles[0].polygon[1][0]",
        "zones[1].polygon",  # outside the outline
        "zones[1].polygon",  # and over its neighbour
    ]


@pytest.mark.parametrize("content", [None, [], "plan", 3, {}])
def test_what_is_no_drawing_at_all_is_refused(content: Any) -> None:
    assert _faults(content)


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
)


PLACES = [
    *("name", "outline", "outline.1", "outline.1.0", "holes"),
    *("obstacles", "obstacles.0", "obstacles.0.polygon", "doors.0", "doors.0.to"),
    *("zones", "zones.0", "zones.0.id", "zones.0.polygon"),
    *("bays", "bays.0", "bays.0.zones", "bays.0.centre", "bays.0.heading_deg"),
]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(PLACES), JUNK)
def test_junk_anywhere_is_a_fault_or_a_plan_and_never_a_crash(path: str, junk: object) -> None:
    content = _with(_set(path, junk))
    try:
        plan = FloorPlan.from_content(content)
    except PlanFaults:
        # refused: the faults are named
        assert _faults(content)
    else:
        assert plan.outline.is_valid


def test_uncovered_floor_becomes_one_rest_zone_for_each_piece() -> None:
    across = zone("A1", 5000, 0, 7000, 8000, kind="aisle")
    plan = FloorPlan.from_content(drawing(rect(0, 0, 12000, 8000), zones=[across]))
    rest = {key: z.polygon.area for key, z in plan.zones.items() if z.kind == "rest"}
    assert rest == {"rest-1": 40_000_000, "rest-2": 40_000_000}


def test_rest_zones_take_ids_that_are_not_in_use() -> None:
    mine = {**zone("rest-1", 0, 0, 3000, 8000, kind="rest"), "name": "Corner"}
    plan = FloorPlan.from_content(drawing(rect(0, 0, 12000, 8000), zones=[mine]))
    assert set(plan.zones) == {"rest-1", "rest-2"}
    assert plan.zones["rest-1"].name == "Corner"  # type: ignore[index]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 3)), unique=True, max_size=12))
def test_zones_cover_the_whole_floor_once(squares: list[tuple[int, int]]) -> None:
    zones = [
        zone(f"Z{i}", 2000 * x, 2000 * y, 2000 * x + 2000, 2000 * y + 2000)
        for i, (x, y) in enumerate(squares)
    ]
    plan = FloorPlan.from_content(drawing(rect(0, 0, 12000, 8000), zones=zones))
    shapes = [z.polygon for z in plan.zones.values()]
    assert sum(shape.area for shape in shapes) == pytest.approx(plan.outline.area)
    assert shapely.union_all(shapes).area == pytest.approx(plan.outline.area)


def test_closed_rings_and_whole_floats_are_read_as_meant() -> None:
    closed = copy.deepcopy(GOOD)
    closed["outline"].append([0, 0])
    closed["outline"][1] = [12000.0, 0.0]
    assert FloorPlan.from_content(closed).outline.equals(FloorPlan.from_content(GOOD).outline)


def test_plans_with_the_same_content_are_the_same_plan() -> None:
    again = FloorPlan.from_content(copy.deepcopy(GOOD))
    assert again == FloorPlan.from_content(GOOD)
    assert hash(again) == hash(FloorPlan.from_content(GOOD))
    assert again != FloorPlan.from_content(_with(_set("name", "Other")))
