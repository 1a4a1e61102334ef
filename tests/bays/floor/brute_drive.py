"""Drives a path again pose by pose, to check the search against. Only numpy.

Bodies are rectangles, walls and solids lists of corners, all in millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from bays.floor import VehicleShape

ALLOWED_MM = 2.0
SPOTS_EVERY_MM = 80.0


def assert_drivable(
    path: Sequence[Any],
    vehicle: VehicleShape,
    radius_mm: float,
    outline: Sequence[Sequence[int]],
    solids: Sequence[Sequence[Sequence[int]]] = (),
    most_bodies: int = 400,
) -> None:
    """No step too long or too tight or aside of the heading, no body in a wall or solid."""
    poses = np.array([tuple(pose) for pose in path], dtype=float)
    _assert_steps(poses, radius_mm)
    ring = _ring(vehicle)
    for x, y, heading, _ in poses[:: max(len(poses) // most_bodies, 1)]:
        spots = _placed(ring, x, y, heading)
        assert _depth_outside(spots, np.array(outline, float)) <= ALLOWED_MM, (x, y, heading)
        for solid in solids:
            corners = np.array(solid, float)
            assert _depth_inside(spots, corners) <= ALLOWED_MM, (x, y, heading)
            assert not _corner_in_body(corners, vehicle, x, y, heading), (x, y, heading)


def _assert_steps(poses: np.ndarray, radius_mm: float) -> None:
    step = np.diff(poses[:, :2], axis=0)
    turned = np.radians(np.diff(poses[:, 2]))
    middle = np.radians(poses[:-1, 2]) + turned / 2
    along = (step * np.column_stack([np.cos(middle), np.sin(middle)])).sum(axis=1)
    aside = step[:, 1] * np.cos(middle) - step[:, 0] * np.sin(middle)
    assert np.abs(along).max(initial=0) <= 20.001
    assert np.abs(np.degrees(turned)).max(initial=0) <= 0.25
    assert (np.abs(turned) <= np.abs(along) / radius_mm * (1 + 1e-4) + 1e-9).all()
    assert np.abs(aside).max(initial=0) <= 0.01
    assert (np.sign(along) == poses[1:, 3]).all()


def _ring(vehicle: VehicleShape) -> np.ndarray:
    """Spots along the body's outline, its corners among them."""
    corners = np.array(vehicle.body_ring, float)
    sides = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = int(np.hypot(*(b - a)) / SPOTS_EVERY_MM) + 2
        sides.append(a + np.linspace(0, 1, count)[:, None] * (b - a))
    return np.concatenate(sides)


def _placed(points: np.ndarray, x: float, y: float, heading: float) -> np.ndarray:
    c, s = np.cos(np.radians(heading)), np.sin(np.radians(heading))
    return points @ np.array([[c, s], [-s, c]]) + np.array([x, y])


def _inside(points: np.ndarray, corners: np.ndarray) -> np.ndarray:
    found = np.zeros(len(points), dtype=bool)
    px, py = points[:, 0], points[:, 1]
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 != y1:
            found ^= ((y0 > py) != (y1 > py)) & (px < (x1 - x0) * (py - y0) / (y1 - y0) + x0)
    return found


def _to_edge(points: np.ndarray, corners: np.ndarray) -> np.ndarray:
    nearest = np.full(len(points), np.inf)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        t = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        nearest = np.minimum(nearest, np.hypot(*(points - a - t[:, None] * (b - a)).T))
    return nearest


def _depth_outside(points: np.ndarray, corners: np.ndarray) -> float:
    out = points[~_inside(points, corners)]
    return float(_to_edge(out, corners).max(initial=0))


def _depth_inside(points: np.ndarray, corners: np.ndarray) -> float:
    within = points[_inside(points, corners)]
    return float(_to_edge(within, corners).max(initial=0))


def _corner_in_body(
    corners: np.ndarray, vehicle: VehicleShape, x: float, y: float, heading: float
) -> bool:
    seen = _placed(corners - np.array([x, y]), 0, 0, -heading)
    rear, front = -vehicle.rear_overhang_mm, vehicle.wheelbase_mm + vehicle.front_overhang_mm
    deep = np.minimum(
        np.minimum(seen[:, 0] - rear, front - seen[:, 0]),
        vehicle.width_mm / 2 - np.abs(seen[:, 1]),
    )
    return bool((deep > ALLOWED_MM).any())
