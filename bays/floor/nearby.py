"""The best pose near one that somebody has in mind, at the same heading."""

from __future__ import annotations

from collections.abc import Set

from shapely.geometry import Point

from bays.floor.clearance import TOUCH_MM, feasible, needed_margin_mm
from bays.floor.deepest import deepest_pose
from bays.floor.placement import Fit, Pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part

NEAR_MM = 1000.0
_ROUND = 32  # edges of a quarter of the circle looked at: it lies inside by 0.03 %


def best_near(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    pose: Pose,
    occupied: Set[ZoneId] = frozenset(),
    within_mm: float = NEAR_MM,
) -> Fit | None:
    """The roomiest pose within a distance of this one, at its heading; ``None`` if none fits.

    Margins count against walls, obstacles and occupied zones, and are short of the greatest by at
    most 1 mm. The step's tolerances must be met.
    """
    free = feasible(plan, parts, pose.heading_deg).without(occupied)
    near = Point(pose.x_mm, pose.y_mm).buffer(within_mm, quad_segs=_ROUND)
    spot = deepest_pose(free, near)
    if spot is None or spot[2] < needed_margin_mm(parts) + TOUCH_MM / 2:
        return None
    x, y, depth = spot
    return Fit(Pose(x, y, pose.heading_deg), max(depth - TOUCH_MM, 0.0))
