"""Halls to drive in: corridors round a corner, and a workshop with bays, columns, lifts, a door."""

from __future__ import annotations

from typing import Any

import numpy as np

from bays.floor import FloorPlan, Pose, VehicleShape
from tests.bays.floor.cases import bay, column, drawing, rect, zone

# AASHTO design vehicle P (from memory): 19 x 7 ft, wheelbase 11 ft, overhangs 3 and 5 ft.
CAR_P = VehicleShape(2133.6, 3352.8, 914.4, 1524.0)
CAR_P_RADIUS_MM = 5452.428
VAN = VehicleShape(2000, 3200, 950, 1100)
RADIUS_MM = 5000.0
SMALL = VehicleShape(1700, 2400, 750, 600)
SMALL_RADIUS_MM = 4500.0


def corner(width: int, in_from_wall: int | None = None) -> tuple[FloorPlan, Pose, Pose]:
    """Two corridors of 25 m at right angles, and poses straight in each."""
    far, inner = 25_000, 25_000 - width
    outline = [[0, 0], [far, 0], [far, far], [inner, far], [inner, width], [0, width]]
    aside = width / 2 if in_from_wall is None else in_from_wall
    plan = FloorPlan.from_content(drawing(outline))
    return plan, Pose(3000.0, aside, 0.0), Pose(far - aside, 18_000.0, 90.0)


def workshop(**more: Any) -> dict[str, Any]:
    """40 x 20 m: ten bays along two walls, five aisles, twelve columns, four lifts, one door."""
    zones, bays, solids = [], [], []
    for n in range(5):
        x = 7000 + 6000 * n
        for side, y, heading in (("S", 0, 90), ("N", 14_000, 270)):
            zones.append(zone(f"{side}{n + 1}", x, y, x + 4000, y + 6000))
            bays.append(bay(f"{side}{n + 1}", [f"{side}{n + 1}"], [x + 2000, y + 3000], heading))
        zones.append(zone(f"A{n + 1}", 8000 * n, 7000, 8000 * (n + 1), 13_000, kind="aisle"))
    for n in range(6):
        x = 5800 + 6000 * n
        solids.append(column(f"c{n}0", x, 6400, x + 400, 6800))
        solids.append(column(f"c{n}1", x, 13_200, x + 400, 13_600))
    for n, (x, y) in enumerate([(7300, 2750), (13_300, 2750), (19_300, 16_750), (25_300, 16_750)]):
        solids.append(column(f"lift {n} left", x, y, x + 300, y + 500))
        solids.append(column(f"lift {n} right", x + 3100, y, x + 3400, y + 500))
    door = {"id": "west", "from": [0, 8000], "to": [0, 12_000]}
    content = drawing(rect(0, 0, 40_000, 20_000), zones=zones, bays=bays, obstacles=solids)
    return {**content, "doors": [door], **more}


def small_hall(rng: np.random.Generator) -> tuple[list[list[int]], list[list[list[int]]]]:
    """An L-shaped or plain hall with a few columns, as corner lists."""
    wide, deep = (int(v) for v in rng.integers(12_000, 20_000, 2))
    if rng.random() < 0.5:
        outline = rect(0, 0, wide, deep)
    else:
        x, y = (int(v) for v in rng.integers(5000, 9000, 2))
        outline = [[0, 0], [wide, 0], [wide, y], [x, y], [x, deep], [0, deep]]
    solids = []
    for _ in range(int(rng.integers(0, 5))):
        x, y = int(rng.integers(0, wide - 700)), int(rng.integers(0, deep - 700))
        dx, dy = (int(v) for v in rng.integers(200, 700, 2))
        if any(_on(outline, px, py) for px in (x, x + dx) for py in (y, y + dy)):
            solids.append(rect(x, y, x + dx, y + dy))
    return outline, solids


def random_case(seed: int) -> tuple[list[list[int]], list[Any], Pose, Pose]:
    rng = np.random.default_rng(seed)
    outline, solids = small_hall(rng)
    poses = [
        Pose(float(rng.integers(1200, 12_000)), float(rng.integers(1200, 12_000)),
             float(rng.integers(0, 24) * 15))
        for _ in range(2)
    ]  # fmt: skip
    return outline, solids, poses[0], poses[1]


def plan_with(outline: list[list[int]], solids: list[list[list[int]]]) -> FloorPlan:
    obstacles = [{"id": f"c{i}", "kind": "column", "polygon": s} for i, s in enumerate(solids)]
    return FloorPlan.from_content(drawing(outline, obstacles=obstacles))


def _on(outline: list[list[int]], x: float, y: float) -> bool:
    found = False
    for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
        if (y0 > y) != (y1 > y) and x < (x1 - x0) * (y - y0) / (y1 - y0) + x0:
            found = not found
    return found
