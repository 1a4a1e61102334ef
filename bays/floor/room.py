"""The room to drive in: floor and a strip before the door, less all that is solid, as arrays.

``Ground`` and ``Body`` are plain arrays and numbers for compiled code (:mod:`bays.floor.flood`).
"""

from __future__ import annotations

import math
from collections.abc import Set
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from bays.floor.clearance import TOUCH_MM
from bays.floor.placement import Pose
from bays.floor.plan import Door, FloorPlan, ZoneId
from bays.floor.shapes import VehicleShape

Floats = NDArray[np.float64]

# The strip before a door is longer than the vehicle by this.
ROOM_BEFORE_DOOR_MM = 2000.0
# A door's ends are whole millimetres, this near the wall; the sill reaches over the wall's line.
SILL_MM = 5.0
FIELD_STEP_MM = 100.0
BUCKET_MM = 500.0


class Ground(NamedTuple):
    """Free floor for compiled code.

    ``clear_mm`` holds the distance from each field cell's middle to the nearest edge, negative off
    the floor; ``edges`` rows are x0, y0, x1, y1; ``items[starts[b]:starts[b + 1]]`` are the edges
    that a body with its centre in bucket ``b`` can meet.
    """

    west: float
    south: float
    clear_mm: NDArray[np.float32]
    buckets_across: int
    starts: NDArray[np.int32]
    items: NDArray[np.int32]
    edges: Floats


class Body(NamedTuple):
    """The body for compiled code, drawn in by the touching allowance.

    Discs of ``cover_mm`` about the places ``cover_x`` on the centreline hold all of the body; discs
    of ``core_mm`` about ``core_x`` lie inside it.
    """

    rear: float
    front: float
    half_width: float
    cover_x: Floats
    cover_mm: float
    core_x: Floats
    core_mm: float


@dataclass(frozen=True, eq=False)
class Room:
    free: Any
    ground: Ground
    body: Body
    vehicle: VehicleShape


def make_room(
    plan: FloorPlan, vehicle: VehicleShape, occupied: Set[ZoneId], door: Door | None
) -> Room:
    free = free_floor(plan, occupied, None if door is None else strip_before(plan, vehicle, door))
    return Room(free, _ground(free, vehicle), _body(vehicle), vehicle)


def free_floor(plan: FloorPlan, occupied: Set[ZoneId], strip: Polygon | None = None) -> Any:
    """Floor (and strip) less obstacles and occupied zones."""
    floor = plan.outline if strip is None else shapely.union_all([plan.outline, strip])
    solid = [obstacle.polygon for obstacle in plan.obstacles]
    solid += [plan.zones[zone].polygon for zone in sorted(occupied) if zone in plan.zones]
    free = floor.difference(shapely.union_all(solid)) if solid else floor
    return shapely.union_all([p for p in shapely.get_parts(free) if isinstance(p, Polygon)])


def inward_deg(plan: FloorPlan, door: Door) -> float:
    """The heading of a vehicle that drives in straight."""
    (x0, y0), (x1, y1) = door.start, door.end
    along = math.degrees(math.atan2(y1 - y0, x1 - x0))
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    for side in (90.0, -90.0):
        a = math.radians(along + side)
        probe = shapely.Point(middle[0] + 50 * math.cos(a), middle[1] + 50 * math.sin(a))
        if plan.outline.contains(probe):
            return (along + side) % 360.0
    return (along + 90.0) % 360.0


def strip_before(plan: FloorPlan, vehicle: VehicleShape, door: Door) -> Polygon:
    """As wide as the door and longer than the vehicle, as far as it does not meet the building."""
    deep = vehicle.length_mm + ROOM_BEFORE_DOOR_MM
    sill = _before(plan, door, -SILL_MM, 2 * SILL_MM)
    strip = _before(plan, door, 0.0, deep).difference(
        plan.outline.buffer(SILL_MM, join_style="mitre")
    )
    pieces = [p for p in shapely.get_parts(strip) if p.distance(sill) < SILL_MM]
    return shapely.union_all([sill, *pieces])


def standing_before(
    plan: FloorPlan, vehicle: VehicleShape, door: Door, *, reverse: bool
) -> tuple[Pose, ...]:
    """Straight before the door, wholly outside: in its middle, and beside it as far as it goes."""
    inward = inward_deg(plan, door)
    c, s = math.cos(math.radians(inward)), math.sin(math.radians(inward))
    (x0, y0), (x1, y1) = door.start, door.end
    ahead = vehicle.rear_overhang_mm if reverse else vehicle.length_mm - vehicle.rear_overhang_mm
    back = ahead + 2 * SILL_MM
    spare = max((door.width_mm - vehicle.width_mm) / 2 - 50.0, 0.0)
    heading = (inward + 180.0) % 360.0 if reverse else inward
    return tuple(
        Pose((x0 + x1) / 2 - back * c - aside * s, (y0 + y1) / 2 - back * s + aside * c, heading)
        for aside in sorted({0.0, spare / 2, -spare / 2, spare, -spare}, key=abs)
    )


def _before(plan: FloorPlan, door: Door, near_mm: float, far_mm: float) -> Polygon:
    a = math.radians(inward_deg(plan, door))
    out = np.array([-math.cos(a), -math.sin(a)])
    start, end = np.array(door.start, float), np.array(door.end, float)
    return Polygon([start + near_mm * out, end + near_mm * out, end + far_mm * out,
                    start + far_mm * out])  # fmt: skip


def _ground(free: Any, vehicle: VehicleShape) -> Ground:
    west, south, east, north = free.bounds
    west, south = west - FIELD_STEP_MM, south - FIELD_STEP_MM
    across = math.ceil((east - west) / FIELD_STEP_MM) + 1
    up = math.ceil((north - south) / FIELD_STEP_MM) + 1
    edges = np.concatenate([_edges(piece) for piece in shapely.get_parts(free)])
    x = west + (np.arange(across) + 0.5) * FIELD_STEP_MM
    y = south + (np.arange(up) + 0.5) * FIELD_STEP_MM
    off = _nearest_edge(x, y, edges)
    grid_x, grid_y = np.meshgrid(x, y, indexing="ij")
    shapely.prepare(free)
    inside = shapely.contains_xy(free, grid_x, grid_y)
    clear = np.where(inside, off, -off).astype(np.float32)
    reach = math.hypot(vehicle.length_mm, vehicle.width_mm) / 2 + 1.0
    buckets_across, starts, items = _buckets(west, south, across, up, edges, reach)
    return Ground(west, south, clear, buckets_across, starts, items, edges)


def _edges(piece: Polygon) -> Floats:
    rings = [shapely.get_coordinates(r) for r in (piece.exterior, *piece.interiors)]
    return np.concatenate([np.hstack([ring[:-1], ring[1:]]) for ring in rings])


def _nearest_edge(x: Floats, y: Floats, edges: Floats) -> Floats:
    """Distance from every (x, y) of the grid to the nearest edge."""
    nearest = np.full((len(x), len(y)), np.inf)
    px, py = x[:, None], y[None, :]
    for x0, y0, x1, y1 in edges:
        dx, dy = x1 - x0, y1 - y0
        t = np.clip(((px - x0) * dx + (py - y0) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        square = (px - x0 - t * dx) ** 2 + (py - y0 - t * dy) ** 2
        np.minimum(nearest, square, out=nearest)
    return np.sqrt(nearest)


def _buckets(
    west: float, south: float, across: int, up: int, edges: Floats, reach_mm: float
) -> tuple[int, NDArray[np.int32], NDArray[np.int32]]:
    nx = math.ceil(across * FIELD_STEP_MM / BUCKET_MM) + 1
    ny = math.ceil(up * FIELD_STEP_MM / BUCKET_MM) + 1
    lines = shapely.linestrings(edges.reshape(-1, 2, 2))
    x = west + (np.arange(nx) + 0.5) * BUCKET_MM
    y = south + (np.arange(ny) + 0.5) * BUCKET_MM
    middles = shapely.points(np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2))
    found = shapely.STRtree(lines).query(
        middles, predicate="dwithin", distance=reach_mm + BUCKET_MM * math.sqrt(0.5)
    )
    order = np.argsort(found[0], kind="stable")
    starts = np.zeros(nx * ny + 1, dtype=np.int32)
    np.cumsum(np.bincount(found[0], minlength=nx * ny), out=starts[1:])
    return ny, starts, found[1][order].astype(np.int32)


def _body(vehicle: VehicleShape) -> Body:
    rear = -vehicle.rear_overhang_mm + TOUCH_MM
    front = vehicle.length_mm - vehicle.rear_overhang_mm - TOUCH_MM
    half = vehicle.width_mm / 2 - TOUCH_MM
    discs = max(math.ceil((front - rear) / (1.5 * half)), 1)
    each = (front - rear) / discs
    core = min(half, (front - rear) / 2)
    return Body(
        rear=rear,
        front=front,
        half_width=half,
        cover_x=np.array([rear + each * (n + 0.5) for n in range(discs)]),
        cover_mm=math.hypot(each / 2, half),
        core_x=np.linspace(rear + core, front - core, 3),
        core_mm=core,
    )
