"""Point sampling, to check the exact geometry against. Shares no code with it: only numpy.

A shape is a list of points covering it no coarser than ``STEP``; polygons are lists of corners.
"""

from __future__ import annotations

import numpy as np

STEP = 60.0
INSET = 0.1


def rect_points(x0: float, y0: float, x1: float, y1: float, step: float = STEP) -> np.ndarray:
    """Points covering a rectangle, drawn in a hair so that touching is not overlapping."""
    xs = np.linspace(x0 + INSET, x1 - INSET, max(int((x1 - x0) / step) + 2, 2))
    ys = np.linspace(y0 + INSET, y1 - INSET, max(int((y1 - y0) / step) + 2, 2))
    return np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)


def sector_points(
    apex: tuple[float, float], bearing: float, half_angle: float, reach: float
) -> np.ndarray:
    radii = np.linspace(0, reach, int(reach / STEP) + 2)
    count = int(np.radians(2 * half_angle) * reach / STEP) + 3
    angles = np.radians(np.linspace(bearing - half_angle, bearing + half_angle, count))
    grid_r, grid_a = np.meshgrid(radii, angles)
    points = np.stack([grid_r * np.cos(grid_a), grid_r * np.sin(grid_a)], axis=-1)
    return points.reshape(-1, 2) + np.array(apex)


def placed(points: np.ndarray, x: float, y: float, heading: float) -> np.ndarray:
    a = np.radians(heading)
    px, py = points[:, 0], points[:, 1]
    return np.column_stack(
        [x + px * np.cos(a) - py * np.sin(a), y + px * np.sin(a) + py * np.cos(a)]
    )


def inside(points: np.ndarray, polygon: list[list[int]]) -> np.ndarray:
    """Crossing number of a ray to the right."""
    found = np.zeros(len(points), dtype=bool)
    px, py = points[:, 0], points[:, 1]
    for (x0, y0), (x1, y1) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        if y0 == y1:
            continue
        spans = (y0 > py) != (y1 > py)
        found ^= spans & (px < (x1 - x0) * (py - y0) / (y1 - y0) + x0)
    return found


def to_edge(points: np.ndarray, polygon: list[list[int]]) -> np.ndarray:
    """Distance of every point to the nearest edge."""
    nearest = np.full(len(points), np.inf)
    for start, end in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        a, b = np.array(start, float), np.array(end, float)
        along = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        gap = np.hypot(*(points - a - along[:, None] * (b - a)).T)
        nearest = np.minimum(nearest, gap)
    return nearest


def overlap_mm(points: np.ndarray, polygon: list[list[int]]) -> float:
    """How deep the deepest point lies inside; negative: how far off the nearest point is."""
    depth = np.where(inside(points, polygon), 1.0, -1.0) * to_edge(points, polygon)
    return float(depth.max())


def blocked_mm(
    points: np.ndarray, outline: list[list[int]], obstacles: list[list[list[int]]]
) -> float:
    """Positive: some point is that deep in something solid. Negative: all are that far off."""
    wall = np.where(inside(points, outline), -1.0, 1.0) * to_edge(points, outline)
    return max([float(wall.max()), *(overlap_mm(points, solid) for solid in obstacles)])
