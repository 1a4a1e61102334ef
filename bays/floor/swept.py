"""The floor a body passes over, as polygons, and the check that all of it is free.

Between two near poses every point of the body stays close to its chord, which lies in the convex
hull of the two bodies; on an arc it leaves the chord by at most R (1 - cos(a / 2)), with R the
radius of the body's farthest corner and a the angle turned between the two. Hulls grown by that
hold everything the body passes over. The body is cut at the rear axle, where its inner side
touches the circle it keeps clear, and each half has its own hulls: so they are hardly too large.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from bays.floor.clearance import TOUCH_MM
from bays.floor.motion import Piece, moved, turning_path
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import VehicleShape

Floats = NDArray[np.float64]

DRAWN_EVERY_MM = 80.0
# Close to a wall hulls are made finer, at last so fine that what they are too large by is less than
# the touching allowance.
CHECKED_EVERY_MM = (60.0, 10.0, 2.0)


def stays_on(free: Any, vehicle: VehicleShape, start: Pose, pieces: Sequence[Piece]) -> bool:
    """Whether the body stays on ``free`` from end to end, touching allowed (0.01 mm).

    ``False`` may be wrong by a hair, ``True`` never.
    """
    shapely.prepare(free)
    if not bool(shapely.covers(free, _standing(start, vehicle, TOUCH_MM)).all()):
        return False
    for piece in pieces:
        if abs(piece.length_mm) > 0 and not _piece_stays(free, vehicle, start, piece):
            return False
        start = moved(start, piece)
    return True


def swept_floor(
    vehicle: VehicleShape, start: Pose, pieces: Sequence[Piece]
) -> Polygon | MultiPolygon:
    """All the floor the body passes over, too large on arcs by less than a millimetre."""
    hulls: list[Any] = list(_standing(start, vehicle, 0.0))
    for piece in pieces:
        if abs(piece.length_mm) > 0:
            hulls.extend(_hulls(vehicle, start, piece, DRAWN_EVERY_MM, 0.0))
        start = moved(start, piece)
    return shapely.union_all(hulls)


def zones_met(plan: FloorPlan, swept: Any) -> frozenset[ZoneId]:
    """Zones the swept floor overlaps by more than a hairline along a shared edge."""
    core = shapely.buffer(swept, -2 * TOUCH_MM, join_style="mitre")
    shapely.prepare(core)
    return frozenset(zone.id for zone in plan.zones.values() if core.intersects(zone.polygon))


def _piece_stays(free: Any, vehicle: VehicleShape, start: Pose, piece: Piece) -> bool:
    for step in CHECKED_EVERY_MM:
        hulls = _hulls(vehicle, start, piece, step, TOUCH_MM)
        if bool(shapely.covers(free, hulls).all()):
            return True
        if piece.per_mm == 0.0:
            return False
    return False


def _hulls(
    vehicle: VehicleShape, start: Pose, piece: Piece, step_mm: float, drawn_in_mm: float
) -> NDArray[Any]:
    """Hulls of neighbouring bodies along one piece; of a straight one, a single hull."""
    count = 1 if piece.per_mm == 0.0 else max(math.ceil(abs(piece.length_mm) / step_mm), 1)
    parts = [Piece(piece.per_mm, piece.length_mm * i / count) for i in range(count + 1)]
    leaves = 0.0
    if piece.per_mm != 0.0:
        ring = turning_path(vehicle, 1 / abs(piece.per_mm))
        far = max(ring.outer_front_corner_mm, ring.outer_rear_corner_mm)
        leaves = far * (1 - math.cos(piece.per_mm * piece.length_mm / count / 2))
    poses = [moved(start, part) for part in parts]
    hulls: list[Any] = []
    for half in _halves(vehicle, drawn_in_mm - leaves, leaves):
        rings = _placed(half, poses)
        corners = np.concatenate([rings[:-1], rings[1:]], axis=1)
        clouds = shapely.multipoints(corners.reshape(-1, 2), indices=np.repeat(np.arange(count), 8))
        hulls.extend(shapely.convex_hull(clouds))
    return np.array(hulls, dtype=object)


def _standing(pose: Pose, vehicle: VehicleShape, drawn_in_mm: float) -> NDArray[Any]:
    whole = _halves(vehicle, drawn_in_mm, 0.0)
    return shapely.polygons([_placed(half, [pose])[0] for half in whole])


def _halves(vehicle: VehicleShape, drawn_in_mm: float, over_mm: float) -> list[Floats]:
    """The body drawn in (grown when negative) with square corners, cut at the rear axle; each half
    reaches over the cut by ``over_mm``."""
    (rear, low), _, (front, high), _ = vehicle.body_ring
    spans = [(rear + drawn_in_mm, over_mm), (-over_mm, front - drawn_in_mm)]
    y0, y1 = low + drawn_in_mm, high - drawn_in_mm
    return [np.array([[a, y0], [b, y0], [b, y1], [a, y1]]) for a, b in spans if b - a > TOUCH_MM]


def _placed(ring: Floats, poses: Sequence[Pose]) -> Floats:
    at = np.array(poses)
    headings = np.radians(at[:, 2])
    c, s = np.cos(headings)[:, None], np.sin(headings)[:, None]
    x = at[:, 0, None] + c * ring[None, :, 0] - s * ring[None, :, 1]
    y = at[:, 1, None] + s * ring[None, :, 0] + c * ring[None, :, 1]
    return np.stack([x, y], axis=-1)
