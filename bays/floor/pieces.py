"""Everything on the floor as convex pieces, in arrays, so that many poses are judged at once.

What lies outside the walls is covered by long blocks along the outline's convex hull and by the
pockets between hull and outline; pieces of one thing may overlap, together they are that thing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from bays.floor.plan import FloorPlan, ZoneId

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SOLID = -1
# Blocks outside the walls are this thick and reach this far past the ends of their wall: farther
# than any vehicle and clear zone.
OUTSIDE_MM = 150_000.0
THINNEST_MM2 = 1e-6
KEPT_FLOORS = 8


@dataclass(frozen=True, eq=False)
class Convex:
    """Convex polygons with the same number of corners, counter-clockwise: (pieces, corners, 2).

    ``normals`` point out of each side, at distance ``offsets`` from the origin.
    """

    corners: Floats
    normals: Floats
    offsets: Floats

    @classmethod
    def of(cls, corners: Floats) -> Convex:
        along = np.roll(corners, -1, axis=1) - corners
        length = np.hypot(along[..., 0], along[..., 1])
        # a corner given twice has no side: its neighbour's stands in for it
        for i in range(corners.shape[1]):
            bare = length[:, i] < 1e-9
            along[bare, i], length[bare, i] = along[bare, i - 1], length[bare, i - 1]
        normals = np.stack([along[..., 1], -along[..., 0]], axis=-1) / length[..., None]
        return cls(corners, normals, np.einsum("pki,pki->pk", normals, corners))


@dataclass(frozen=True, eq=False)
class Group:
    """Pieces with up to so many corners. ``owner`` is the zone's place in ``Pieces.zones``, or
    SOLID for walls and obstacles; ``centre`` and ``radius`` a circle around each piece."""

    shape: Convex
    owner: Ints
    centre: Floats
    radius: Floats


@dataclass(frozen=True, eq=False)
class Pieces:
    zones: tuple[ZoneId, ...]
    groups: tuple[Group, ...]
    bounds: tuple[float, float, float, float]


@lru_cache(maxsize=KEPT_FLOORS)
def pieces_of(plan: FloorPlan) -> Pieces:
    """Walls, obstacles and zones of a floor."""
    zones = tuple(plan.zones)
    owned: list[tuple[int, Floats]] = [(SOLID, ring) for ring in _outside(plan.outline)]
    for obstacle in plan.obstacles:
        owned.extend((SOLID, ring) for ring in convex_rings(obstacle.polygon))
    for i, zone in enumerate(zones):
        owned.extend((i, ring) for ring in convex_rings(plan.zones[zone].polygon))
    by_size: dict[int, list[tuple[int, Floats]]] = {}
    for owner, ring in owned:
        size = 4
        while size < len(ring):
            size *= 2
        by_size.setdefault(size, []).append((owner, _padded(ring, size)))
    groups = tuple(_group(rows) for _, rows in sorted(by_size.items()))
    west, south, east, north = plan.outline.bounds
    return Pieces(zones, groups, (west, south, east, north))


def _group(rows: Sequence[tuple[int, Floats]]) -> Group:
    corners = np.stack([ring for _, ring in rows])
    centre = (corners.min(axis=1) + corners.max(axis=1)) / 2
    away = corners - centre[:, None, :]
    radius = np.hypot(away[..., 0], away[..., 1]).max(axis=1)
    return Group(Convex.of(corners), np.array([o for o, _ in rows]), centre, radius)


def together(rings: Sequence[Floats]) -> Convex:
    """Convex rings of any numbers of corners, in one array."""
    size = max((len(ring) for ring in rings), default=3)
    return Convex.of(np.array([_padded(ring, size) for ring in rings]).reshape(-1, size, 2))


def _padded(ring: Floats, size: int) -> Floats:
    return np.concatenate([ring, np.repeat(ring[-1:], size - len(ring), axis=0)])


def _outside(outline: Polygon) -> list[Floats]:
    hull = outline.convex_hull
    corners = _ccw(hull)
    rings = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        ahead = (end - start) / np.hypot(*(end - start)) * OUTSIDE_MM
        out = np.array([ahead[1], -ahead[0]])
        a, b = start - ahead, end + ahead
        rings.append(np.array([b, a, a + out, b + out]))
    pockets = [hull.difference(Polygon(outline.exterior)), *map(Polygon, outline.interiors)]
    for pocket in pockets:
        rings.extend(convex_rings(pocket))
    return rings


def convex_rings(shape: Polygon) -> list[Floats]:
    """Convex pieces that make up a shape: triangles, joined while they stay convex."""
    rings: list[Floats] = []
    for part in shapely.get_parts(shape):
        if not isinstance(part, Polygon) or part.area <= THINNEST_MM2:
            continue
        if not part.interiors and part.area > (1 - 1e-12) * part.convex_hull.area:
            rings.append(_ccw(part))
            continue
        triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(part))
        rings.extend(_joined([_ccw(t) for t in triangles if t.area > THINNEST_MM2]))
    return rings


def _ccw(polygon: Polygon) -> Floats:
    corners: Floats = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)[:-1]
    return corners


def _joined(rings: Iterable[Floats]) -> list[Floats]:
    """Join pieces over a shared side where the whole is convex (Hertel and Mehlhorn, 1983)."""
    left: list[list[tuple[float, float]]] = [[(x, y) for x, y in ring] for ring in rings]
    i = 0
    while i < len(left):
        joined = None
        for j in range(i + 1, len(left)):
            joined = _join(left[i], left[j])
            if joined is not None:
                left[i] = joined
                del left[j]
                break
        if joined is None:
            i += 1
    return [np.array(ring) for ring in left]


def _join(
    one: list[tuple[float, float]], other: list[tuple[float, float]]
) -> list[tuple[float, float]] | None:
    sides = {(other[k], other[k - 1]): k for k in range(len(other))}
    for i in range(len(one)):
        k = sides.get((one[i - 1], one[i]))
        if k is None:
            continue
        whole = [*one[i:], *one[:i], *[*other[k:], *other[:k]][1:-1]]
        return whole if _convex(whole) else None
    return None


def _convex(ring: list[tuple[float, float]]) -> bool:
    at = np.array(ring)
    ahead = np.roll(at, -1, axis=0) - at
    behind = at - np.roll(at, 1, axis=0)
    return bool((behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0] >= 0).all())
