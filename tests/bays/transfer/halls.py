"""DXF files written for the tests: a hall in any unit, and one that unfolds without end."""

from __future__ import annotations

import io
from typing import Any

import ezdxf

MEANINGS = {"walls": "outline", "columns": "column", "bays": "bay", "doors": "door"}


def as_bytes(document: Any) -> bytes:
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def empty(insunits: int = 4, version: str = "R2010") -> Any:
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = insunits
    return document


def hall(insunits: int = 6, mm_per_unit: float = 1000.0, version: str = "R2010") -> Any:
    """20 x 12 m, off the origin: loose wall lines, a round column, three bays, a door block."""
    document, k = empty(insunits, version), 1000.0 / mm_per_unit
    model = document.modelspace()
    corners = [(5 * k, -3 * k), (25 * k, -3 * k), (25 * k, 9 * k), (5 * k, 9 * k)]
    for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
        model.add_line(start, end, dxfattribs={"layer": "Walls"})
    model.add_circle((10 * k, 2 * k), 0.2 * k, dxfattribs={"layer": "Columns"})
    for i in range(3):
        x = (6 + 4 * i) * k
        bay = [(x, 3 * k), (x + 3.5 * k, 3 * k), (x + 3.5 * k, 8.5 * k), (x, 8.5 * k)]
        if version == "R12":
            model.add_polyline2d(bay, close=True, dxfattribs={"layer": "Bays"})
        else:
            model.add_lwpolyline(bay, close=True, dxfattribs={"layer": "Bays"})
    model.add_text("Glass bay", height=0.3 * k).set_placement((11 * k, 6 * k))
    leaf = document.blocks.new("LEAF")
    leaf.add_line((0, 0), (0, 3 * k))
    leaf.add_arc((0, 0), 3 * k, 0, 90)
    model.add_blockref("LEAF", (12 * k, -3 * k), dxfattribs={"layer": "Doors"})
    return document


def nested(levels: int, copies: int = 10) -> Any:
    """Each block holds the one below so many times: copies to the power of levels in all."""
    document = empty()
    inner = document.blocks.new("B0")
    inner.add_line((0, 0), (1, 1))
    for level in range(1, levels):
        block = document.blocks.new(f"B{level}")
        for i in range(copies):
            block.add_blockref(f"B{level - 1}", (i, 0))
    document.modelspace().add_blockref(f"B{levels - 1}", (0, 0))
    return document
