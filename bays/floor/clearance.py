"""Where a vehicle may stand, exactly, at one heading.

A pose blocks an obstacle when a part of the clear zone overlaps it. For a convex part B turned to
the heading, the poses that overlap a convex solid O are the Minkowski sum O + (-B), which for
convex shapes is the convex hull of all corner differences. A polygon of any shape is blocked by the
poses that put one point of B inside it, together with hull(edge + (-B)) over its edges: a
connected part that neither crosses an edge nor has a point inside lies outside. Walls are the same
the other way round. (T. Lozano-Perez, "Spatial Planning: A Configuration Space Approach", IEEE
Transactions on Computers C-32, 1983.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate
from shapely.geometry import Polygon

from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part

# Parts are drawn smaller by this all round, so that touching is free and an exact fit leaves a
# region that floating-point arithmetic can hold. A thousand times finer than any tape.
TOUCH_MM = 0.01
ROUND_CORNER_SEGMENTS = 16
# At sharp corners, parts are drawn back by at most this many times the touching allowance.
MOST_TIP = 5.0
KEPT_REGIONS = 512

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Region:
    """Where the middle of the rear axle may be, at one heading.

    ``free`` holds the poses at which no part meets a wall or an obstacle; ``zone_poses`` those that
    meet each zone. ``body_centre`` is the offset from the pose to the body's centre, on the floor.
    """

    heading_deg: float
    free: Any
    body_centre: tuple[float, float]
    _plan: FloorPlan
    _shapes: tuple[Floats, ...]

    @property
    def empty(self) -> bool:
        return bool(self.free.is_empty)

    def standing_in(self, area: Any) -> Any:
        """The poses whose body centre lies in ``area``."""
        return translate(area, -self.body_centre[0], -self.body_centre[1])

    def without(self, zones: Iterable[ZoneId]) -> Any:
        """Free poses that overlap none of these zones."""
        blocked = [self.zone_poses[zone] for zone in sorted(zones) if zone in self.zone_poses]
        return self.free.difference(shapely.union_all(blocked)) if blocked else self.free

    @cached_property
    def zone_poses(self) -> Mapping[ZoneId, Any]:
        zones = self._plan.zones.values()
        return {zone.id: _poses_meeting([zone.polygon], self._shapes) for zone in zones}

    @cached_property
    def zone_bounds(self) -> tuple[tuple[ZoneId, ...], Floats]:
        """Zones and the bounds of their poses, to leave far zones out quickly."""
        zones = tuple(self.zone_poses)
        shapes = np.array([self.zone_poses[zone] for zone in zones], dtype=object)
        return zones, shapely.bounds(shapes).reshape(-1, 4)


def feasible(plan: FloorPlan, parts: tuple[Part, ...], heading_deg: float) -> Region:
    """All poses at this heading at which the parts, just as drawn, meet no wall or obstacle.

    Exact up to 0.01 mm, by which touching is allowed. Step tolerances (``Part.needs_mm``) are not
    in it; see :func:`tolerant`. Cached, least recently used leaving first.
    """
    return _region(plan, parts, heading_deg % 360.0, 0.0)


def tolerant(plan: FloorPlan, parts: tuple[Part, ...], heading_deg: float) -> Region:
    """As :func:`feasible`, with the parts grown all round by the margin their tolerances need.

    Round corners are drawn outside their arcs, by at most 0.13 % of that margin.
    """
    return _region(plan, parts, heading_deg % 360.0, needed_margin_mm(parts))


def needed_margin_mm(parts: Sequence[Part]) -> float:
    return max(part.needs_mm for part in parts)


def turn(points: Floats, heading_deg: float) -> Floats:
    """Turn counter-clockwise about the origin; quarter turns are exact."""
    heading = heading_deg % 360.0
    quarter = {0.0: (1, 0), 90.0: (0, 1), 180.0: (-1, 0), 270.0: (0, -1)}
    radians = math.radians(heading)
    c, s = quarter.get(heading, (math.cos(radians), math.sin(radians)))
    turned: Floats = points @ np.array([[c, s], [-s, c]], dtype=float)
    return turned


def grown(polygon: Polygon, by_mm: float) -> Polygon:
    """A convex polygon grown all round with round corners, or drawn in when ``by_mm`` < 0: its
    sides by so much, its corners by no more than five times that."""
    if by_mm <= 0:
        drawn_in = shapely.buffer(polygon, by_mm, join_style="mitre", mitre_limit=50.0)
        return shapely.union_all([drawn_in, *_tips(polygon, -by_mm)]).convex_hull
    # sides exactly so far, corners by chords outside their arc
    outside_arc = math.cos(math.pi / 4 / ROUND_CORNER_SEGMENTS)
    rounded = shapely.buffer(polygon, by_mm / outside_arc, quad_segs=ROUND_CORNER_SEGMENTS)
    mitred = shapely.buffer(polygon, by_mm, join_style="mitre", mitre_limit=50.0)
    return rounded.intersection(mitred)


def _tips(polygon: Polygon, by_mm: float) -> list[Any]:
    """Points inside the sharp corners, which drawing in the sides would take back too far."""
    ring = shapely.get_coordinates(polygon.exterior)[:-1]
    ahead, behind = np.roll(ring, -1, axis=0) - ring, np.roll(ring, 1, axis=0) - ring
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-12)[:, None]
    behind /= np.maximum(np.hypot(*behind.T), 1e-12)[:, None]
    inward = ahead + behind
    length = np.hypot(*inward.T)
    # the sine of half the angle at the corner, by which sides drawn in set it back farther
    sine = np.hypot(*(ahead - behind).T) / 2
    sharp = sine < 1 / MOST_TIP
    tips = ring[sharp] + MOST_TIP * by_mm * inward[sharp] / length[sharp, None]
    return list(shapely.points(tips))


def free_region(
    plan: FloorPlan, parts: Sequence[Part], heading_deg: float, grown_mm: float
) -> Region:
    """The region with the parts grown by ``grown_mm``, worked out afresh."""
    shapes = tuple(_turned_part(part, heading_deg, grown_mm) for part in parts)
    body = next(part for part in parts if part.name == "body").polygon.centroid
    centre = turn(np.array([[body.x, body.y]]), heading_deg)[0]
    met = _poses_meeting([obstacle.polygon for obstacle in plan.obstacles], shapes)
    return Region(
        heading_deg=heading_deg,
        free=_areas(_poses_within(plan, shapes).difference(met)),
        body_centre=(float(centre[0]), float(centre[1])),
        _plan=plan,
        _shapes=shapes,
    )


@lru_cache(maxsize=KEPT_REGIONS)
def _region(
    plan: FloorPlan, parts: tuple[Part, ...], heading_deg: float, grown_mm: float
) -> Region:
    return free_region(plan, parts, heading_deg, grown_mm)


def _turned_part(part: Part, heading_deg: float, grown_mm: float) -> Floats:
    """Corners of the turned part, grown, less the touching allowance."""
    ring = shapely.get_coordinates(grown(part.polygon, grown_mm - TOUCH_MM))[:-1]
    return turn(ring, heading_deg)


def _poses_within(plan: FloorPlan, shapes: Sequence[Floats]) -> Any:
    edges = np.concatenate([_edges(ring) for ring in plan.rings])
    crossing = shapely.union_all(_hulls(edges, shapes))
    inside = plan.outline
    for shape in shapes:
        x, y = shape.mean(axis=0)
        inside = inside.intersection(translate(plan.outline, -x, -y))
    return inside.difference(crossing)


def _poses_meeting(solids: Sequence[Polygon], shapes: Sequence[Floats]) -> Any:
    """Poses at which a part overlaps one of the solids."""
    met: list[Any] = []
    for solid in solids:
        ring = shapely.get_coordinates(solid.exterior)[:-1]
        if not solid.interiors and solid.area > 0.999999 * solid.convex_hull.area:
            met.extend(_hulls(ring[None, :, :], shapes))
            continue
        edges = np.concatenate([_edges(line) for line in (solid.exterior, *solid.interiors)])
        met.extend(_hulls(edges, shapes))
        met.extend(translate(solid, -s[:, 0].mean(), -s[:, 1].mean()) for s in shapes)
    return shapely.union_all(met)


def _edges(ring: Any) -> Floats:
    corners = shapely.get_coordinates(ring)
    return np.stack([corners[:-1], corners[1:]], axis=1)


def _hulls(solids: Floats, shapes: Sequence[Floats]) -> list[Any]:
    """hull(solid + (-part)) for every convex solid (n, k, 2) and every part, in one call a part."""
    hulls: list[Any] = []
    for shape in shapes:
        sums = (solids[:, :, None, :] - shape[None, None, :, :]).reshape(len(solids), -1, 2)
        count = sums.shape[1]
        clouds = shapely.multipoints(
            sums.reshape(-1, 2), indices=np.repeat(np.arange(len(solids)), count)
        )
        hulls.extend(shapely.convex_hull(clouds))
    return hulls


def _areas(shape: Any) -> Any:
    """Only what has area: overlay may leave points and lines where regions touch."""
    return shapely.union_all(
        [piece for piece in shapely.get_parts(shape) if isinstance(piece, Polygon)]
    )
