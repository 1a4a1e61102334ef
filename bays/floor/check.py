"""Is this pose good, and if not, on which side is it short, by how much, against what?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Polygon, box

from bays.floor.clearance import TOUCH_MM, grown, needed_margin_mm, turn
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part

SIDES = ("front", "rear", "left", "right")
WALL = "wall"
# A zone is taken when the clear zone overlaps it by more than a hairline along a shared edge.
TAKEN_WIDTH_MM = TOUCH_MM


@dataclass(frozen=True)
class Shortfall:
    """The clear zone must give way by ``by_mm`` on one side of the vehicle.

    ``against`` names what stands there, worst first: "wall", ids of obstacles, ids of zones.
    """

    side: str
    by_mm: float
    against: tuple[str, ...]


@dataclass(frozen=True)
class PoseReport:
    """``margin_mm`` is how far the clear zone could grow all round; 0 when it meets something.

    ``zones`` are those taken, the room that the step's tolerances need included.
    """

    ok: bool
    margin_mm: float
    zones: frozenset[ZoneId]
    shortfalls: tuple[Shortfall, ...]


def check_pose(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    pose: Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> PoseReport:
    """Judge one pose against walls, obstacles and occupied zones, touching allowed.

    ``ok`` asks for the margin that the step's tolerances need. A shortfall is how far the zone,
    with that margin, would have to be drawn in on one side to be clear of a thing; of the four
    sides the one with the least is told for each thing.
    """
    placed = _Placed(plan, pose)
    shapes = [part.polygon for part in parts]
    # pairs: nothing keeps an obstacle from bearing the id of a zone, or from being called "wall"
    solids = list(placed.solids(occupied))
    whole = shapely.union_all(shapes)
    met = [solid for _, solid in solids if _overlaps(whole, solid)]
    margin = 0.0 if met else min((whole.distance(solid) for _, solid in solids), default=0.0)
    needs = needed_margin_mm(parts)
    ok = not met and margin >= needs - TOUCH_MM
    asked = shapely.union_all([grown(shape, needs - TOUCH_MM) for shape in shapes])
    return PoseReport(
        ok=ok,
        margin_mm=float(margin),
        zones=frozenset(
            zone.id
            for zone in plan.zones.values()
            if _overlaps(asked, placed.from_vehicle(zone.polygon))
        ),
        shortfalls=() if ok else _shortfalls(_asked_shapes(parts), solids, SIDES),
    )


def shortfall_on(plan: FloorPlan, parts: tuple[Part, ...], pose: Pose, side: str) -> Shortfall:
    """How far this side alone must give way at this pose in the empty shop, and against what."""
    solids = list(_Placed(plan, pose).solids(frozenset()))
    found = _shortfalls(_asked_shapes(parts), solids, (side,))
    return found[0] if found else Shortfall(side, 0.0, ())


def _asked_shapes(parts: tuple[Part, ...]) -> list[Polygon]:
    needs = needed_margin_mm(parts)
    return [_square_grown(part.polygon, needs) for part in parts]


def _square_grown(shape: Polygon, needs_mm: float) -> Polygon:
    """Grown with square corners, which a wall along a side meets on that side only."""
    return shapely.buffer(shape, needs_mm - TOUCH_MM, join_style="mitre", mitre_limit=50.0)


class _Placed:
    """The floor seen from the vehicle at one pose."""

    def __init__(self, plan: FloorPlan, pose: Pose) -> None:
        self.plan = plan
        axes = turn(np.eye(2), -pose.heading_deg)
        (a, d), (b, e) = axes
        x, y = pose.x_mm, pose.y_mm
        self._matrix = [a, b, d, e, -a * x - b * y, -d * x - e * y]

    def from_vehicle(self, shape: Any) -> Any:
        return affine_transform(shape, self._matrix)

    def solids(self, occupied: Set[ZoneId]) -> Iterator[tuple[str, Any]]:
        """What must not be met: floor's outside, obstacles, occupied zones."""
        outline = self.plan.outline
        west, south, east, north = outline.bounds
        far = 2 * (east - west + north - south) + 100_000
        outside = box(west - far, south - far, east + far, north + far).difference(outline)
        yield WALL, self.from_vehicle(outside)
        for obstacle in self.plan.obstacles:
            yield obstacle.id, self.from_vehicle(obstacle.polygon)
        for zone in self.plan.zones.values():
            if zone.id in occupied:
                yield zone.id, self.from_vehicle(zone.polygon)


def _overlaps(whole: Any, solid: Any) -> bool:
    if not whole.intersects(solid):
        return False
    shared = whole.intersection(solid)
    return not shapely.buffer(shared, -TAKEN_WIDTH_MM / 2, join_style="mitre").is_empty


def _shortfalls(
    shapes: list[Polygon], solids: Sequence[tuple[str, Any]], sides: tuple[str, ...]
) -> tuple[Shortfall, ...]:
    by_side: dict[str, list[tuple[float, str]]] = {}
    whole = shapely.union_all(shapes)
    for name, solid in solids:
        for piece in _pieces(whole, solid):
            depths = _depths(shapes, piece)
            if depths:
                side = min(sides, key=lambda s: depths[s])
                by_side.setdefault(side, []).append((depths[side], name))
    return tuple(
        Shortfall(
            side,
            max(depth for depth, _ in met),
            tuple(dict.fromkeys(name for _, name in sorted(met, key=lambda m: (-m[0], m[1])))),
        )
        for side, met in sorted(by_side.items(), key=lambda item: (-max(item[1])[0], item[0]))
    )


def _pieces(whole: Any, solid: Any) -> list[Any]:
    """A convex thing is cleared as one. Walls and other things that may reach round a corner of
    the clear zone are cleared piece by piece, on the side that is best for each piece."""
    if solid.area > 0.999999 * solid.convex_hull.area:
        return [solid]
    shared = [p for p in shapely.get_parts(whole.intersection(solid)) if isinstance(p, Polygon)]
    return [
        triangle
        for piece in shared
        for triangle in shapely.get_parts(shapely.constrained_delaunay_triangles(piece))
    ]


def _depths(shapes: list[Polygon], solid: Any) -> dict[str, float]:
    """How far the parts that meet the solid must be drawn in on each side to clear it."""
    deepest: dict[str, float] = {}
    for shape in shapes:
        shared = shape.intersection(solid)
        if shared.area <= TOUCH_MM:
            continue
        x0, y0, x1, y1 = shape.bounds
        west, south, east, north = shared.bounds
        for side, depth in zip(SIDES, (x1 - west, east - x0, y1 - south, north - y0), strict=True):
            deepest[side] = max(deepest.get(side, 0.0), depth)
    return deepest
