"""Cases of the exchange format, in metres, built in a line or two."""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from bays.floor.exchange import answer, read_case

HATCHBACK = {"width": 1.9, "wheelbase": 2.85, "front_overhang": 0.95, "rear_overhang": 1.05}


def rect(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def column(name: str, *corners: float) -> dict[str, Any]:
    return {"id": name, "kind": "column", "poly": rect(*corners)}


def zone(name: str, *corners: float) -> dict[str, Any]:
    return {"id": name, "kind": "bay", "poly": rect(*corners)}


def around(rear: float, front: float, side: float) -> dict[str, Any]:
    """A rectangle so far behind, ahead and beside the body."""
    return {
        "name": "ring",
        "shape": "rect",
        "x0": ["rear", -rear],
        "x1": ["front", front],
        "y0": ["right", -side],
        "y1": ["left", side],
    }


def fit_case(
    outline: list[list[float]],
    *parts: dict[str, Any],
    floor: dict[str, Any] | None = None,
    **more: Any,
) -> dict[str, Any]:
    case: dict[str, Any] = {
        "kind": "fit",
        "vehicle": dict(HATCHBACK),
        "floor": {"outline": outline, "obstacles": [], "zones": [], "doors": [], **(floor or {})},
        "occupied": [],
        "procedure": {"parts": list(parts)},
        "headings_deg": [0],
        **more,
    }
    return {key: value for key, value in case.items() if value is not None}


def level_case(**more: Any) -> dict[str, Any]:
    """A floor of 8 x 6 m rising 1 % along x, read every metre."""
    readings = [[x, y, x / 100] for x in range(9) for y in range(7)]
    return {
        "kind": "level",
        "survey_xyz_m": readings,
        "zone_polygon": rect(0, 0, 8, 6),
        "heading_deg": 0,
        **more,
    }


def answered(case: dict[str, Any]) -> dict[str, Any]:
    return answer(read_case(deepcopy(case)))
