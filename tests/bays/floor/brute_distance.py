"""Exact distances between polygons, pose by pose, to check the exact geometry against.

Shares no code with it: only numpy. Polygons are (k, 2) arrays of corners; poses are (n, 3) arrays
of x, y, heading. Where two outlines neither cross nor hold a corner of one another, they lie apart,
and the distance is the least one between a corner of either and an edge of the other.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

MOST_AT_ONCE = 1_500_000


def rectangle(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=float)


def sector(
    apex: tuple[float, float], bearing: float, half_angle: float, reach: float, sagitta: float = 1.0
) -> np.ndarray:
    """With chords inside the arc, off it by at most ``sagitta``."""
    step = 2 * np.arccos(max(1 - sagitta / reach, -1.0))
    count = int(np.ceil(np.radians(2 * half_angle) / step)) + 1
    angles = np.radians(np.linspace(bearing - half_angle, bearing + half_angle, count + 1))
    arc = np.array(apex) + reach * np.column_stack([np.cos(angles), np.sin(angles)])
    if half_angle >= 180:
        return arc[:-1]
    return np.concatenate([np.array([apex]), arc])


def turned(points: np.ndarray, poses: np.ndarray) -> np.ndarray:
    """(k, 2) points at (n, 3) poses: (n, k, 2)."""
    a = np.radians(poses[:, 2])[:, None]
    x, y = points[:, 0][None, :], points[:, 1][None, :]
    return np.stack(
        [
            poses[:, 0, None] + x * np.cos(a) - y * np.sin(a),
            poses[:, 1, None] + x * np.sin(a) + y * np.cos(a),
        ],
        axis=-1,
    )


def seen_from(points: np.ndarray, poses: np.ndarray) -> np.ndarray:
    """(k, 2) points of the floor in the frame of each pose: (n, k, 2)."""
    a = np.radians(poses[:, 2])[:, None]
    x = points[:, 0][None, :] - poses[:, 0, None]
    y = points[:, 1][None, :] - poses[:, 1, None]
    return np.stack([x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)], axis=-1)


def holds(polygon: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Crossing number of a ray to the right, for points of any leading shape."""
    found = np.zeros(points.shape[:-1], dtype=bool)
    px, py = points[..., 0], points[..., 1]
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        spans = (y0 > py) != (y1 > py)
        found ^= spans & (px < (x1 - x0) * (py - y0) / (y1 - y0) + x0)
    return found


def _edges(rings: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    starts = np.concatenate(rings)
    ends = np.concatenate([np.roll(ring, -1, axis=0) for ring in rings])
    return starts, ends


def _to_segments(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Distance of points (..., 2) to segments, broadcast together."""
    along = end - start
    length = np.maximum((along**2).sum(axis=-1), 1e-12)
    share = np.clip(((points - start) * along).sum(axis=-1) / length, 0, 1)
    off = points - start - share[..., None] * along
    return np.hypot(off[..., 0], off[..., 1])


def _side(a: np.ndarray, b: np.ndarray, p: np.ndarray) -> np.ndarray:
    return (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
        p[..., 0] - a[..., 0]
    )


def gaps(
    zone: Sequence[np.ndarray],
    poses: np.ndarray,
    walls: Sequence[np.ndarray],
    solids: Sequence[np.ndarray],
) -> np.ndarray:
    """Distance from the zone (polygons of the vehicle frame) at each pose to everything solid,
    and -1 where they overlap. ``walls`` are the outer ring and those of the holes."""
    count = sum(map(len, zone)) * sum(len(ring) for ring in [*walls, *solids])
    chunk = max(MOST_AT_ONCE // count, 1)
    done = [_gaps(zone, poses[i : i + chunk], walls, solids) for i in range(0, len(poses), chunk)]
    return np.concatenate(done) if done else np.zeros(0)


def _gaps(
    zone: Sequence[np.ndarray],
    poses: np.ndarray,
    walls: Sequence[np.ndarray],
    solids: Sequence[np.ndarray],
) -> np.ndarray:
    rings = [*walls, *solids]
    s0, s1 = (side[None, None] for side in _edges(rings))
    a, b = (turned(side, poses)[:, :, None] for side in _edges(zone))
    crossing = (_side(a, b, s0) * _side(a, b, s1) < 0) & (_side(s0, s1, a) * _side(s0, s1, b) < 0)
    apart = np.minimum(_to_segments(a, s0, s1), _to_segments(s0, a, b)).min(axis=(1, 2))
    overlap = crossing.any(axis=(1, 2)) | _held(zone, poses, walls, solids)
    return np.where(overlap, -1.0, apart)


def _held(
    zone: Sequence[np.ndarray],
    poses: np.ndarray,
    walls: Sequence[np.ndarray],
    solids: Sequence[np.ndarray],
) -> np.ndarray:
    """A corner of the zone lies in something solid, or something solid in the zone."""
    corners = turned(np.concatenate(zone), poses)
    held = ~holds(walls[0], corners).all(axis=1)
    for ring in [*walls[1:], *solids]:
        held |= holds(ring, corners).any(axis=1)
        seen = seen_from(ring, poses)
        for polygon in zone:
            held |= holds(polygon, seen).any(axis=1)
    return held
