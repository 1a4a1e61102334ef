"""Floors and vehicles the floor tests share, and the reader of the case files in ``data``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from bays.floor import ClearZone, FloorPlan, Part, VehicleShape, resolve

DATA = Path(__file__).parent / "data"
HATCHBACK = VehicleShape(1900, 2850, 950, 1050)


def rect(x0: int, y0: int, x1: int, y1: int) -> list[list[int]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def drawing(outline: list[list[int]], **more: Any) -> dict[str, Any]:
    empty: dict[str, Any] = {"obstacles": [], "doors": [], "zones": [], "bays": []}
    return {"name": "Hall", "outline": outline, **empty, **more}


def column(name: str, *corners: int) -> dict[str, Any]:
    return {"id": name, "kind": "column", "polygon": rect(*corners)}


def zone(name: str, *corners: int, kind: str = "bay") -> dict[str, Any]:
    called = f"Bay {name[1:]}" if kind == "bay" else name
    return {"id": name, "name": called, "kind": kind, "polygon": rect(*corners)}


def bay(name: str, zones: list[str], centre: list[int], heading: float = 90) -> dict[str, Any]:
    return {"id": name, "name": name, "zones": zones, "centre": centre, "heading_deg": heading}


def ring(rear: float, front: float, side: float, **tolerances: float) -> ClearZone:
    """A rectangle so far behind, ahead and beside the body."""
    part = {
        "from_x": {"datum": "rear", "offset_mm": -rear},
        "to_x": {"datum": "front", "offset_mm": front},
        "from_y": {"datum": "right", "offset_mm": -side},
        "to_y": {"datum": "left", "offset_mm": side},
    }
    return ClearZone.from_content({"parts": [{"rect": part}], **tolerances})


def parts_of(
    rear: float, front: float, side: float, vehicle: VehicleShape = HATCHBACK, **tolerances: float
) -> tuple[Part, ...]:
    return resolve(ring(rear, front, side, **tolerances), vehicle)


def read_case(name: str) -> dict[str, Any]:
    case: dict[str, Any] = json.loads((DATA / f"{name}.json").read_text())
    return case


def plan_of(case: dict[str, Any]) -> FloorPlan:
    """Case files are in metres."""
    floor = case["floor"]
    content = drawing(_mm(floor["outline"]))
    content["obstacles"] = [
        {"id": o["id"], "kind": o["kind"], "polygon": _mm(o["poly"])} for o in floor["obstacles"]
    ]
    content["zones"] = [
        {"id": z["id"], "name": z["id"], "kind": z["kind"], "polygon": _mm(z["poly"])}
        for z in floor["zones"]
    ]
    content["doors"] = [
        {"id": d["id"], "from": _mm([d["a"]])[0], "to": _mm([d["b"]])[0]} for d in floor["doors"]
    ]
    return FloorPlan.from_content(content)


def case_parts(case: dict[str, Any]) -> tuple[Part, ...]:
    size = case["vehicle"]
    vehicle = VehicleShape(
        *(1000 * size[key] for key in ("width", "wheelbase", "front_overhang", "rear_overhang"))
    )
    keys = (("from_x", "x0"), ("to_x", "x1"), ("from_y", "y0"), ("to_y", "y1"))
    rects = [
        {"rect": {ours: _measure(part[theirs]) for ours, theirs in keys}}
        for part in case["procedure"]["parts"]
    ]
    return resolve(ClearZone.from_content({"parts": rects}), vehicle)


def _measure(value: list[Any]) -> dict[str, Any]:
    return {"datum": value[0], "offset_mm": 1000 * value[1]}


def _mm(points: list[list[float]]) -> list[list[int]]:
    return [[round(1000 * x), round(1000 * y)] for x, y in points]
