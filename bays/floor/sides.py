"""How much room is left on each side of a vehicle: straight from its clear zone, or from its body,
to whatever stands nearest in that direction.

Along one line in the direction the room is a difference of two piecewise linear functions of where
the line runs; it is least at a corner of one of the two shapes, seen from either side of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from bays.floor.check import SIDES, WALL
from bays.floor.clearance import turn
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan

# Lines are looked along this far beside each corner; a hundredth of a millimetre is no distance.
BESIDE_MM = 0.01
# Room that is as small to a millimetre is told where it is best seen: near the vehicle's middle.
ALIKE_MM = 1.0

Floats = NDArray[np.float64]
Spot = tuple[float, float]
# What is turned so that the side looks along +x, in degrees.
_LOOKS = {"front": 0.0, "rear": 180.0, "left": 90.0, "right": 270.0}


@dataclass(frozen=True)
class SideRoom:
    """The least distance on one side, from ``start`` on the shape to ``end`` on what is there.

    ``against`` is "wall", the id of an obstacle, or the name given to one of the others.
    """

    side: str
    gap_mm: float
    start: Spot
    end: Spot
    against: str


@dataclass(frozen=True)
class Nearest:
    """What is nearest in any direction, from ``start`` on the shape to ``end`` on it."""

    gap_mm: float
    start: Spot
    end: Spot
    against: str


def nearest_thing(
    plan: FloorPlan, shape: Any, others: Mapping[str, Any] | None = None
) -> Nearest | None:
    """The wall, obstacle or other thing nearest to a shape on the floor; ``None`` when it meets
    one of them."""
    solids = {WALL: plan.outline.boundary}
    solids |= {obstacle.id: obstacle.polygon for obstacle in plan.obstacles}
    solids |= {name: other for name, other in (others or {}).items() if not other.is_empty}
    name = min(solids, key=lambda one: shape.distance(solids[one]))
    line = shapely.shortest_line(shape, solids[name])
    if line.length == 0 or not plan.outline.contains(shape):
        return None
    (ax, ay), (bx, by) = line.coords
    return Nearest(float(line.length), (ax, ay), (bx, by), name)


def room_on_sides(
    plan: FloorPlan,
    shape: Any,
    pose: Pose,
    others: Mapping[str, Any] | None = None,
) -> tuple[SideRoom, ...]:
    """The room in front, behind, on the left and on the right of a shape on the floor.

    ``shape`` is a polygon of the plan's frame, such as the clear zone at ``pose``; ``others`` are
    further things to keep clear of, by name. A thing that overlaps the shape leaves no room, and
    is not told here but by :func:`check_pose`. Sides with nothing there are left out.
    """
    solids = _solid_edges(plan, others or {})
    found = (_on_side(shape, solids, pose, side) for side in SIDES)
    return tuple(room for room in found if room is not None)


def _solid_edges(plan: FloorPlan, others: Mapping[str, Any]) -> dict[str, Floats]:
    solids = {WALL: _edges(plan.outline)}
    solids |= {obstacle.id: _edges(obstacle.polygon) for obstacle in plan.obstacles}
    return solids | {name: _edges(shape) for name, shape in others.items() if not shape.is_empty}


def _edges(shape: Any) -> Floats:
    """Every edge of every ring, as an array of (start, end)."""
    rings = shapely.get_rings(shapely.get_parts(shape))
    corners = [shapely.get_coordinates(ring) for ring in rings]
    return np.concatenate([np.stack([c[:-1], c[1:]], axis=1) for c in corners])


def _on_side(shape: Any, solids: dict[str, Floats], pose: Pose, side: str) -> SideRoom | None:
    heading = pose.heading_deg + _LOOKS[side]
    origin = np.array([pose.x_mm, pose.y_mm])
    own = turn((_edges(shape) - origin).reshape(-1, 2), -heading).reshape(-1, 2, 2)
    middle = turn(np.array([shape.centroid.coords[0]]) - origin, -heading)[0, 1]
    prefer = 0.0 if side in ("front", "rear") else float(middle)
    best: tuple[float, float, float, str] | None = None
    for name, edges in solids.items():
        seen = turn((edges - origin).reshape(-1, 2), -heading).reshape(-1, 2, 2)
        near = _nearest(own, seen, prefer)
        if near and (best is None or near[0] < best[0]):
            best = (*near, name)
    if best is None:
        return None
    gap, x, y, name = best
    ends = turn(np.array([[x, y], [x + gap, y]]), heading) + origin
    start, end = ((float(a), float(b)) for a, b in ends)
    return SideRoom(side, max(gap, 0.0), start, end, name)


def _nearest(own: Floats, seen: Floats, prefer: float) -> tuple[float, float, float] | None:
    """Least distance along +x from ``own`` to ``seen``, with where it starts."""
    lines = _lines(own, seen, prefer)
    if not len(lines):
        return None
    mine, theirs = _crossings(own, lines), _crossings(seen, lines)
    ahead = theirs[:, :, None] - mine[:, None, :]
    # a thing inside the shape has an odd number of the shape's edges ahead of it
    inside = (ahead < -BESIDE_MM).sum(axis=2) % 2 == 1
    behind = np.where(ahead >= -BESIDE_MM, ahead, np.inf).min(axis=2)
    behind[inside | np.isnan(theirs)] = np.inf
    gaps = behind.min(axis=1)
    least = float(gaps.min())
    if not np.isfinite(least):
        return None
    alike = np.flatnonzero(gaps <= least + ALIKE_MM)
    at = int(alike[np.argmin(np.abs(lines[alike] - prefer))])
    which = int(np.argmin(behind[at]))
    return float(gaps[at]), float(theirs[at, which] - gaps[at]), float(lines[at])


def _lines(own: Floats, seen: Floats, prefer: float) -> Floats:
    """Where to look: beside every corner, between them, and where a person would measure."""
    low, high = own[:, :, 1].min() + BESIDE_MM, own[:, :, 1].max() - BESIDE_MM
    corners = np.concatenate([own[:, :, 1].ravel(), seen[:, :, 1].ravel()])
    corners = np.unique(np.clip(corners, low, high))
    between = (corners[:-1] + corners[1:]) / 2
    beside = [corners - BESIDE_MM, corners + BESIDE_MM]
    every: Sequence[Floats] = [*beside, between, np.array([np.clip(prefer, low, high)])]
    lines = np.unique(np.concatenate(every))
    kept: Floats = lines[(lines >= low - BESIDE_MM / 2) & (lines <= high + BESIDE_MM / 2)]
    return kept


def _crossings(edges: Floats, lines: Floats) -> Floats:
    """x where each line crosses each edge, nan where it does not."""
    (ax, ay), (bx, by) = edges[:, 0].T, edges[:, 1].T
    rise = by - ay
    level = np.abs(rise) < 1e-9
    share = (lines[:, None] - ay) / np.where(level, 1.0, rise)
    across = (share >= 0) & (share < 1) & ~level
    crossings: Floats = np.where(across, ax + share * (bx - ax), np.nan)
    return crossings
