"""A floor plan out of a DXF file: every kind of line, units, layers, and files that are none."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from contextlib import suppress
from itertools import pairwise
from typing import Any

import pytest
from ezdxf.entities.dxfentity import DXFEntity
from shapely.affinity import translate
from shapely.geometry import Polygon

from bays.floor import FloorPlan
from bays.transfer import dxf
from bays.transfer.dxf import UNITS, DxfRefused, read_dxf
from bays.transfer.dxf_drawing import Made, drawing_from
from tests.bays.transfer.halls import MEANINGS, as_bytes, empty, hall, nested


def made_from(data: bytes, mm_per_unit: float, meanings: dict[str, str] = MEANINGS) -> Made:
    values = read_dxf(data).as_values("hall.dxf")
    told = {
        number: meanings.get(layer["name"].lower(), "ignore")
        for number, layer in enumerate(values["layers"])
    }
    return drawing_from(values, told, mm_per_unit=mm_per_unit, name="Hall")


# NIST SP 811, appendix B.8: inch 25.4 mm, foot 304.8 mm, exact; the others decimal.
# The codes are those of $INSUNITS in the DXF reference.
@pytest.mark.parametrize(
    ("code", "mm"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0), (14, 100.0)]
)
def test_the_same_hall_comes_out_of_every_unit(code: int, mm: float) -> None:
    data = as_bytes(hall(code, mm))
    assert read_dxf(data).insunits == code
    assert UNITS[code] == mm
    plan = FloorPlan.from_content(made_from(data, mm).drawing)
    assert plan.summary()["width_mm"] == pytest.approx(20_000, abs=2)
    assert plan.summary()["depth_mm"] == pytest.approx(12_000, abs=2)
    assert plan.doors[0].width_mm == pytest.approx(3000, abs=2)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_old_and_new_files_are_read_alike(version: str) -> None:
    made = made_from(as_bytes(hall(version=version)), 1000)
    assert len(made.drawing["zones"]) == 3
    assert FloorPlan.from_content(made.drawing).doors[0].width_mm == 3000


def test_a_binary_file_is_read_as_well() -> None:
    stream = io.BytesIO()
    hall().write(stream, fmt="bin")
    assert len(made_from(stream.getvalue(), 1000).drawing["zones"]) == 3


def test_the_lower_left_corner_is_the_origin_and_corners_are_whole() -> None:
    drawing = made_from(as_bytes(hall()), 1000).drawing
    assert drawing["outline"] == [[0, 0], [20000, 0], [20000, 12000], [0, 12000]]
    assert drawing["zones"][0]["polygon"] == [
        [1000, 6000], [4500, 6000], [4500, 11500], [1000, 11500],
    ]  # fmt: skip
    assert drawing["doors"] == [{"id": "D1", "from": [7000, 0], "to": [10000, 0]}]


def test_a_text_inside_names_the_bay_and_the_others_are_numbered_in_reading_order() -> None:
    drawing = made_from(as_bytes(hall()), 1000).drawing
    assert [zone["name"] for zone in drawing["zones"]] == ["Bay 1", "Glass bay", "Bay 2"]
    assert [zone["id"] for zone in drawing["zones"]] == ["B1", "glass-bay", "B2"]
    assert drawing["bays"][1]["zones"] == ["glass-bay"]
    assert drawing["bays"][1]["heading_deg"] == 90.0


def test_layers_are_counted_by_what_lies_on_them() -> None:
    document = hall()
    document.modelspace().add_point((0, 0), dxfattribs={"layer": "Bays"})
    layers = {layer.name: layer for layer in read_dxf(as_bytes(document)).layers}
    assert dict(layers["Walls"].counts) == {"lines": 4}
    assert dict(layers["Columns"].counts) == {"circles": 1}
    assert dict(layers["Bays"].counts) == {"closed": 3}
    assert dict(layers["Bays"].left_out) == {"point": 1}
    assert layers["Doors"].counts["inserts"] == 1


def outline_of(draw: Callable[[Any], object]) -> Polygon:
    document = empty()
    draw(document.modelspace())
    made = made_from(as_bytes(document), 1, {"w": "outline"})
    return Polygon(made.drawing["outline"], made.drawing.get("holes", []))


W = {"layer": "W"}


def test_an_apse_of_lines_and_an_arc_closes_and_stays_within_the_true_floor() -> None:
    def draw(model: Any) -> None:
        model.add_line((0, 0), (8000, 0), dxfattribs=W)
        model.add_line((0, 6000), (0, 0), dxfattribs=W)
        model.add_line((8000, 6000), (8000, 0), dxfattribs=W)
        model.add_arc((4000, 6000), 4000, 0, 180, dxfattribs=W)

    true = 8000 * 6000 + math.pi * 4000**2 / 2
    floor = outline_of(draw)
    assert floor.is_valid
    assert 0 <= true - floor.area < math.pi * 4000 * 6


def test_walls_drawn_as_two_lines_give_the_inner_one() -> None:
    def draw(model: Any) -> None:
        for off in (0, 300):
            low, wide, deep = off, 20000 - off, 12000 - off
            ring = [(low, low), (wide, low), (wide, deep), (low, deep)]
            model.add_lwpolyline(ring, close=True, dxfattribs=W)
        model.add_lwpolyline([(5000, 5000), (7000, 5000), (7000, 7000), (5000, 7000)], close=True, dxfattribs=W)  # fmt: skip  # noqa: E501

    floor = outline_of(draw)
    assert floor.area == (19_400 * 11_400) - 2000 * 2000


def test_inner_walls_drawn_up_to_the_outer_ones_do_not_break_the_outline() -> None:
    def draw(model: Any) -> None:
        ring = [(0, 0), (20000, 0), (20000, 12000), (0, 12000), (0, 0)]
        for start, end in pairwise(ring):
            model.add_line(start, end, dxfattribs=W)
        model.add_line((14000, 0), (14000, 3000), dxfattribs=W)  # ends in the room: left out

    assert outline_of(draw).area == 20_000 * 12_000


TWO_HALVES = [(750, 1000, 1), (1250, 1000, 1)]
ROUND_COLUMN = math.pi * 250**2


@pytest.mark.parametrize(
    "draw",
    [
        lambda m: m.add_circle((1000, 1000), 250, dxfattribs=W),
        lambda m: [m.add_arc((1000, 1000), 250, a, a + 120, dxfattribs=W) for a in (0, 120, 240)],
        lambda m: m.add_lwpolyline(TWO_HALVES, "xyb", close=True, dxfattribs=W),
        lambda m: m.add_polyline2d(TWO_HALVES, "xyb", close=True, dxfattribs=W),
        lambda m: m.add_ellipse((1000, 1000), (250, 0), 1.0, dxfattribs=W),
        lambda m: m.add_circle((-1000, 1000), 250, dxfattribs={**W, "extrusion": (0, 0, -1)}),
    ],
    ids=["circle", "three arcs", "light line", "old line", "ellipse", "seen from below"],
)  # fmt: skip
def test_a_round_column_is_no_smaller_however_it_was_drawn(draw: Any) -> None:
    document = empty()
    draw(document.modelspace())
    made = made_from(as_bytes(document), 1, {"w": "column"})
    (column,) = made.drawing["obstacles"]
    shape = Polygon(column["polygon"])
    assert ROUND_COLUMN <= shape.area < ROUND_COLUMN * 1.06
    assert column["kind"] == "column"


def test_a_closed_curve_that_is_no_arc_is_held_whole() -> None:
    document = empty()
    points = [(0, 0, 0), (2000, 0, 0), (2000, 1500, 0), (0, 1500, 0), (0, 0, 0)]
    spline = document.modelspace().add_open_spline(points, dxfattribs=W)
    made = made_from(as_bytes(document), 1, {"w": "equipment"})
    (thing,) = made.drawing["obstacles"]
    fine = Polygon([(p.x, p.y) for p in spline.flattening(0.001)])
    west, south, *_ = fine.bounds
    shape = Polygon(thing["polygon"])
    # the rectangle round everything begins at the first whole millimetre on it
    placed = translate(fine, -math.ceil(west), -math.ceil(south))
    assert shape.covers(placed.buffer(-0.01))
    assert shape.area < fine.area * 1.02


def test_blocks_are_taken_apart_scaled_turned_and_in_rows() -> None:
    document = empty()
    post = document.blocks.new("POST")
    post.add_lwpolyline([(0, 0), (200, 0), (200, 300), (0, 300)], close=True)  # on layer 0
    model = document.modelspace()
    model.add_blockref("POST", (0, 0), dxfattribs={**W, "rotation": 90, "xscale": 2, "yscale": 2})
    rows = {**W, "row_count": 2, "column_count": 3, "row_spacing": 3000, "column_spacing": 2000}
    model.add_blockref("POST", (5000, 0), dxfattribs=rows)
    made = made_from(as_bytes(document), 1, {"w": "lift post"})
    areas = sorted(round(Polygon(row["polygon"]).area) for row in made.drawing["obstacles"])
    assert areas == [60_000] * 6 + [240_000]


def test_the_hatching_of_a_column_adds_no_second_one() -> None:
    document = empty()
    model = document.modelspace()
    model.add_lwpolyline([(0, 0), (400, 0), (400, 400), (0, 400)], close=True, dxfattribs=W)
    model.add_circle((200, 200), 100, dxfattribs=W)
    assert len(made_from(as_bytes(document), 1, {"w": "column"}).drawing["obstacles"]) == 1


def test_without_an_outline_a_rectangle_stands_in_and_it_is_said() -> None:
    made = made_from(as_bytes(hall()), 1000, {"bays": "bay"})
    assert "No layer has a closed outline" in made.notes[0]
    assert FloorPlan.from_content(made.drawing).summary()["bays"] == 3


def test_lines_that_close_nothing_are_told() -> None:
    document = hall()
    document.modelspace().add_line((0, 0), (1, 1), dxfattribs={"layer": "Bays"})
    made = made_from(as_bytes(document), 1000)
    assert "1 line on layer Bays close no bay" in " ".join(made.notes)


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "not a DXF file"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 400, "not a DXF file"),
        (b"%PDF-1.7\n...", "not a DXF file"),
        (b"AC1032\0\0\0\0\0", "DWG"),
        (b"0\nSECTION\n2\nENTITIES\n0\nLINE\n10\nnot a number\n", ""),
        (b"0\nSECTION\n2\nENTITIES\n" + b"0\nLINE\n8\nW\n" * 3 + b"0\nENDSEC\n0\nEOF\n", ""),
        (as_bytes(empty()), "no lines or shapes"),
        (b"0\nSECTION ENTITIES" + b" " * (dxf.MOST_BYTES), "too large"),
    ],
    ids=["empty", "picture", "pdf", "dwg", "torn", "no places", "nothing drawn", "too large"],
)
def test_a_file_that_is_no_floor_is_refused_in_words(data: bytes, word: str) -> None:
    with pytest.raises(DxfRefused) as refused:
        read_dxf(data)
    assert word in refused.value.title
    assert refused.value.detail


def test_a_file_cut_off_in_the_middle_gives_what_could_be_read_or_a_refusal() -> None:
    whole = as_bytes(hall())
    for part in (0.3, 0.5, 0.7, 0.85, 0.95):
        with suppress(DxfRefused):
            assert read_dxf(whole[: int(len(whole) * part)]).layers


def test_blocks_within_blocks_without_end_are_refused_soon() -> None:
    # ten to the seventh lines, were they unfolded
    with pytest.raises(DxfRefused, match="more in this file than a floor plan holds"):
        read_dxf(as_bytes(nested(8)))


def test_a_block_in_endless_rows_is_refused_soon() -> None:
    document = empty()
    document.blocks.new("ONE").add_line((0, 0), (1, 1))
    rows = {"row_count": 30_000, "column_count": 30_000, "row_spacing": 1, "column_spacing": 1}
    document.modelspace().add_blockref("ONE", (0, 0), dxfattribs=rows)
    with pytest.raises(DxfRefused, match="more in this file"):
        read_dxf(as_bytes(document))


def test_a_block_that_holds_itself_does_no_harm() -> None:
    document = hall()
    loop = document.blocks.new("LOOP")
    loop.add_blockref("LOOP", (0, 0))
    document.modelspace().add_blockref("LOOP", (0, 0))
    with suppress(DxfRefused):
        assert read_dxf(as_bytes(document)).layers


def test_places_that_are_no_numbers_are_left_out() -> None:
    data = as_bytes(hall())
    head, tail = data.split(b"AcDbCircle", 1)
    spoilt = head + b"AcDbCircle" + tail.replace(b"10.0", b"nan", 1)
    assert spoilt != data
    layers = {layer.name: layer for layer in read_dxf(spoilt).layers}
    assert not layers["Columns"].rings


def test_things_on_a_tilted_plane_are_left_out_and_counted() -> None:
    document = hall()
    tilted: DXFEntity = document.modelspace().add_circle((0, 0), 1, dxfattribs={"layer": "Columns"})
    tilted.dxf.extrusion = (1, 0, 0)
    layers = {layer.name: layer for layer in read_dxf(as_bytes(document)).layers}
    assert dict(layers["Columns"].left_out) == {"circle": 1}
