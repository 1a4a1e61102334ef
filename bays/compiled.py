"""The compiled parts, compiled before anybody waits for them.

Numba compiles at the first call and keeps the machine code beside the source, for this processor
and this version. A small question asked once compiles everything that answers to a large one.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Sequence

from bays.floor.drive import drive_between, drive_in, reversing_needed
from bays.floor.headings import search_placements
from bays.floor.onward import only_with_reverse
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan
from bays.floor.reach import fresh_map
from bays.floor.room import make_room
from bays.floor.shapes import ClearZone, VehicleShape, resolve
from bays.planner.bound import lower_bound
from bays.planner.engine.warm import tiny_problem, warm_up

RADIUS_MM = 4500.0


def compile_floor() -> None:
    """Drive a small car across an empty hall, with and without reverse gear."""
    car = VehicleShape(1700, 2400, 750, 600)
    door = {"id": "door", "from": [0, 4000], "to": [0, 8000]}
    hall = FloorPlan.from_content(
        {"name": "Hall", "outline": [[0, 0], [12_000, 0], [12_000, 12_000], [0, 12_000]]}
        | {"obstacles": [], "zones": [], "bays": [], "doors": [door]}
    )
    here, there = Pose(2000.0, 6000.0, 0.0), Pose(8500.0, 8500.0, 45.0)
    turned = Pose(2500.0, 6000.0, 180.0)
    drive_in(fresh_map(hall, car, RADIUS_MM, hall.doors[0]), there)
    drive_between(hall, car, RADIUS_MM, here, there)
    reversing_needed(hall, car, RADIUS_MM, here, there)
    only_with_reverse(make_room(hall, car, frozenset(), None), RADIUS_MM, here, turned)
    _compile_search(car)


def _compile_search(car: VehicleShape) -> None:
    """Look at every heading for the room of a small car in a bay, beside a post."""
    outline = [[0, 0], [12_000, 0], [12_000, 12_000], [0, 12_000]]
    post = [[5000, 1000], [5400, 1000], [5400, 1400], [5000, 1400]]
    area = [[1000, 1000], [11_000, 1000], [11_000, 11_000], [1000, 11_000]]
    bay = {"id": "bay", "name": "Bay", "zones": ["zone"], "centre": [6000, 6000], "heading_deg": 0}
    shop = FloorPlan.from_content(
        {"name": "Shop", "outline": outline, "bays": [bay], "doors": []}
        | {"zones": [{"id": "zone", "name": "Zone", "kind": "bay", "polygon": area}]}
        | {"obstacles": [{"id": "post", "kind": "post", "polygon": post}]}
    )
    round_body = {"from_x": _at("rear", -500), "to_x": _at("front", 500)} | {
        "from_y": _at("right", -500),
        "to_y": _at("left", 500),
    }
    zone = ClearZone.from_content({"parts": [{"rect": round_body}]})
    search_placements(shop, resolve(zone, car))


def _at(datum: str, offset_mm: int) -> dict[str, object]:
    return {"datum": datum, "offset_mm": offset_mm}


def compile_planner() -> None:
    """Plan two vehicles, one bay and one person, and ask what that costs at least."""
    warm_up()
    lower_bound(tiny_problem(), seconds=0.1)


PARTS: dict[str, Callable[[], None]] = {"floor": compile_floor, "planner": compile_planner}


def main(parts: Sequence[str]) -> int:
    """``python -m bays.compiled [PART]``: one part here, or every part in a process of its own."""
    if parts:
        for part in parts:
            PARTS[part]()
        return 0
    program = (sys.executable, "-m", "bays.compiled")
    running = [subprocess.Popen([*program, part]) for part in PARTS]  # noqa: S603
    return max(abs(process.wait()) for process in running)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
