"""Drives that exist are never called impossible, nor in need of reverse gear when they need none.

A random drive is made first; the floor is what its body sweeps, and a little room beside it, so it
only just fits. Whatever is then proven against it would be wrong.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon

from bays.floor import FloorPlan, Pose, VehicleShape
from bays.floor.onward import only_with_reverse
from bays.floor.passage import why_impossible
from bays.floor.room import make_room
from tests.bays.floor import brute_distance as brute
from tests.bays.floor.random_floors import Floor

HATCHBACK = VehicleShape(1900, 2850, 950, 1050)
BODY = brute.rectangle(-1050, -950, 3800, 950)
STEP_MM = 40.0
# Thinner slices come nearer to the truth, and take longer.
MOST_SLICES = 150


def _drive(rng: np.random.Generator, radius_mm: float, ways: tuple[int, ...]) -> np.ndarray:
    """Poses along lines and arcs, each a short step from the one before."""
    (x, y), heading = rng.uniform(-50_000, 50_000, 2).tolist(), float(rng.uniform(0, 360))
    poses = [(x, y, heading)]
    for _ in range(int(rng.integers(2, 5))):
        way = int(rng.choice(ways))
        curvature = float(rng.choice([0.0, 1.0, -1.0, rng.uniform(-1, 1)])) / radius_mm
        for _ in range(int(rng.uniform(600, 4000) / STEP_MM)):
            half = curvature * way * STEP_MM / 2
            chord = way * STEP_MM * (math.sin(half) / half if half else 1.0)
            middle = math.radians(heading) + half
            x, y = x + chord * math.cos(middle), y + chord * math.sin(middle)
            heading += math.degrees(2 * half)
            poses.append((x, y, heading))
    return np.array(poses)


def _floor_of(poses: np.ndarray, beside_mm: float) -> Floor:
    swept = shapely.union_all([Polygon(ring) for ring in brute.turned(BODY, poses)])
    room = shapely.buffer(swept, beside_mm, quad_segs=2)
    outline = shapely.get_coordinates(shapely.simplify(room.exterior, 0.2))[:-1]
    return Floor((outline,), (), (), 0.0)


def _made(seed: int, ways: tuple[int, ...]) -> tuple[FloorPlan, float, Pose, Pose]:
    rng = np.random.default_rng(seed)
    radius_mm = float(rng.uniform(3500, 6500))
    poses = _drive(rng, radius_mm, ways)
    floor = _floor_of(poses, float(rng.choice([3.0, 20.0, 100.0, 400.0])))
    # as the numpy check sees it, the drive is there
    assert brute.gaps([BODY], poses, floor.walls, floor.solids).min() > 0.5
    return floor.plan(), radius_mm, Pose(*poses[0]), Pose(*poses[-1])


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(5000, 5010))
def test_drive_that_exists_is_never_proven_impossible(seed: int) -> None:
    plan, _, start, goal = _made(seed, (1, -1))
    assert why_impossible(plan, HATCHBACK, start, goal, most_slices=MOST_SLICES) is None


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6000, 6008))
def test_forward_drive_that_exists_is_never_proven_to_need_reverse(seed: int) -> None:
    plan, radius_mm, start, goal = _made(seed, (1,))
    room = make_room(plan, HATCHBACK, frozenset(), None)
    assert only_with_reverse(room, radius_mm, start, goal) is False
