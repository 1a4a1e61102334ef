"""The clear zone made ready for searching: parts about a middle point, and what is sure of them
over a range of headings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from bays.floor.clearance import TOUCH_MM, needed_margin_mm
from bays.floor.pieces import Convex, Floats
from bays.floor.shapes import Part

CORE_CORNERS = 8
KEPT_NEEDS = 64


@dataclass(frozen=True, eq=False)
class Needed:
    """Parts that no other part covers, about ``reference``: the middle of the smallest circle
    around them all, in the vehicle frame, so that turning moves their corners least.

    ``arms`` are the farthest corners of each part from the reference, ``body`` the body's centre
    and ``margin_mm`` the room that the step's tolerances need all round.
    """

    shapes: tuple[Convex, ...]
    arms: tuple[float, ...]
    reference: tuple[float, float]
    body: tuple[float, float]
    margin_mm: float

    def cores(self, half_rad: float) -> list[Floats]:
        """For each part a convex ring inside it, margin included, however it is turned by up to
        ``half_rad`` either way; parts without such a ring are left out.

        A point at ``n . x`` outward and ``t . x`` across a side moves outward by no more than
        |t . x| sin(a) + |n . x| (1 - cos(a)).
        """
        rings = []
        for shape in self.shapes:
            ring, normals = shape.corners[0], shape.normals[0]
            across = np.stack([-normals[:, 1], normals[:, 0]], axis=1)
            sideways = np.abs(ring @ across.T).max(axis=0) * math.sin(half_rad)
            outward = np.abs(ring @ normals.T).max(axis=0) * (1 - math.cos(half_rad))
            core = _clipped(ring, normals, shape.offsets[0] - sideways - outward - TOUCH_MM)
            if core is not None:
                rings.append(_rounded(_fewer(core), self.margin_mm))
        return rings


@lru_cache(maxsize=KEPT_NEEDS)
def needed(parts: tuple[Part, ...]) -> Needed:
    kept = _uncovered(parts)
    circle = shapely.minimum_bounding_circle(shapely.union_all([part.polygon for part in kept]))
    middle = np.array(circle.centroid.coords[0])
    shapes = [Convex.of((_ccw(part) - middle)[None]) for part in kept]
    body = next(part for part in parts if part.name == "body").polygon.centroid
    return Needed(
        shapes=tuple(shapes),
        arms=tuple(float(np.hypot(*shape.corners[0].T).max()) for shape in shapes),
        reference=(float(middle[0]), float(middle[1])),
        body=(body.x - float(middle[0]), body.y - float(middle[1])),
        margin_mm=needed_margin_mm(parts),
    )


def _uncovered(parts: tuple[Part, ...]) -> list[Part]:
    kept: list[Part] = []
    by_size = sorted(parts, key=lambda part: -part.polygon.area)
    for part in by_size:
        if not any(other.polygon.covers(part.polygon) for other in kept):
            kept.append(part)
    return kept


def _ccw(part: Part) -> Floats:
    ring: Floats = shapely.get_coordinates(shapely.orient_polygons(part.polygon).exterior)[:-1]
    return ring


def _clipped(ring: Floats, normals: Floats, offsets: Floats) -> Floats | None:
    """The part of a convex ring with ``normal . x <= offset`` for every side."""
    for normal, offset in zip(normals, offsets, strict=True):
        over = ring @ normal - offset
        if (over >= 0).all():
            return None
        if (over <= 0).all():
            continue
        kept: list[Floats] = []
        for i in range(len(ring)):
            a, b = over[i - 1], over[i]
            if (a < 0 < b) or (b < 0 < a):
                kept.append(ring[i - 1] + (ring[i] - ring[i - 1]) * (a / (a - b)))
            if b <= 0:
                kept.append(ring[i])
        ring = np.array(kept)
    return ring if len(ring) >= 3 else None


def _fewer(ring: Floats) -> Floats:
    """At most so many of the corners: a ring inside the ring."""
    if len(ring) <= CORE_CORNERS:
        return ring
    length = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T)
    # the ends of the longest sides matter most
    longest = np.argsort(-length)[: CORE_CORNERS // 2 - 1]
    ends = {int(i) for i in longest} | {int(i - 1) % len(ring) for i in longest}
    spread = np.linspace(0, len(ring), CORE_CORNERS - len(ends), endpoint=False).astype(int)
    return ring[sorted(ends | {int(i) for i in spread})]


def _rounded(ring: Floats, by_mm: float) -> Floats:
    """Grown by an eight-cornered ring inside the circle of this radius."""
    if by_mm <= 0:
        return ring
    turns = np.arange(8) * math.pi / 4
    circle = by_mm * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    cloud = shapely.multipoints((ring[:, None, :] + circle[None]).reshape(-1, 2))
    hull = shapely.orient_polygons(shapely.convex_hull(cloud))
    grown: Floats = shapely.get_coordinates(hull.exterior)[:-1]
    return grown
