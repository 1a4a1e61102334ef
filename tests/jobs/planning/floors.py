"""A small invented hall: one door, one aisle, two bays; and a car."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bays.floor import ClearZone, FloorPlan, Placement, VehicleShape
from jobs.planning.kept_places import kept_placements

CAR = VehicleShape(1850, 2790, 930, 1080, 1795)
BODY_ONLY = ClearZone(())
CIRCLE_MM = 11_200


def hall(door_mm: int = 3400, **changes: Any) -> FloorPlan:
    content: Mapping[str, Any] = {
        "name": "Small hall",
        "outline": [[0, 0], [14000, 0], [14000, 14000], [0, 14000]],
        "obstacles": [],
        "doors": [{"id": "door", "from": [0, 8000], "to": [0, 8000 + door_mm]}],
        "zones": [
            _zone("bay-1", "bay", 0, 0, 7000, 6000),
            _zone("bay-2", "bay", 7000, 0, 14000, 6000),
            _zone("aisle", "aisle", 0, 6000, 14000, 14000),
        ],
        "bays": [
            {"id": "bay-1", "name": "Bay 1", "zones": ["bay-1"], "centre": [3500, 3000],
             "heading_deg": 270},
            {"id": "bay-2", "name": "Bay 2", "zones": ["bay-2"], "centre": [10500, 3000],
             "heading_deg": 270},
        ],
        **changes,
    }  # fmt: skip
    return FloorPlan.from_content(content)


def _zone(code: str, kind: str, x0: int, y0: int, x1: int, y1: int) -> dict[str, Any]:
    polygon = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]
    return {"id": code, "name": code, "kind": kind, "polygon": polygon}


def place_in(plan: FloorPlan, zone: str) -> Placement:
    """A placement that takes this zone alone."""
    found = kept_placements(plan, CAR, BODY_ONLY)
    return next(one for one in found if one.zones == {zone})
