"""Where a step that fits nowhere comes nearest to fitting, for one case."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely

from bays.floor.check import SIDES, Shortfall, check_pose
from bays.floor.headings import search_fit
from bays.floor.nearest import SHORTFALL_STEP_MM, drawn_in, nearest_miss, standings
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan
from bays.floor.shapes import Part

LOOKED_ALONG = 4
MOST_HEADINGS = 16
# What gives way together where no one side, nor an end and a flank, would do.
TOGETHER = (("left", "right"), ("front", "rear"), SIDES)


def nearest_shortfalls(
    plan: FloorPlan, parts: tuple[Part, ...], headings: Sequence[float] | None
) -> Sequence[Shortfall]:
    """What is short at the pose nearest to fitting; nothing where the body itself does not fit.

    Of very many headings, or of all, those along and across the longest walls are looked at, and
    the one at which the body has most room.
    """
    body = tuple(part for part in parts if part.name == "body")
    roomiest = search_fit(plan, body, headings=headings).fit
    if roomiest is None:
        return ()
    if headings is None or len(headings) > MOST_HEADINGS:
        headings = [roomiest.pose.heading_deg, *_beside(_wall_headings(plan), headings)]
    near = nearest_miss(plan, parts, standings(plan, headings))
    if near is not None:
        return near.shortfalls
    for sides in TOGETHER:
        pose = _pose_giving_together(plan, parts, headings, sides)
        if pose is not None:
            return check_pose(plan, parts, pose).shortfalls
    return check_pose(plan, parts, roomiest.pose).shortfalls


def _pose_giving_together(
    plan: FloorPlan, parts: tuple[Part, ...], headings: Sequence[float], sides: Sequence[str]
) -> Pose | None:
    """The pose at which these sides, giving way alike, give least; none gives into the body."""
    most = _up_to_the_body(parts)

    def pose_giving(by_mm: float) -> Pose | None:
        given = drawn_in(parts, {side: min(by_mm, most[side]) for side in sides})
        fit = search_fit(plan, given, headings=headings).fit
        return fit.pose if fit else None

    low, high = 0.0, max(most[side] for side in sides)
    found = pose_giving(high)
    while found is not None and high - low > SHORTFALL_STEP_MM:
        middle = (low + high) / 2
        closer = pose_giving(middle)
        if closer is None:
            low = middle
        else:
            high, found = middle, closer
    return found


def _up_to_the_body(parts: Sequence[Part]) -> dict[str, float]:
    x0, y0, x1, y1 = shapely.union_all([part.polygon for part in parts]).bounds
    body = next(part for part in parts if part.name == "body").polygon.bounds
    rear, right, front, left = body[0] - x0, body[1] - y0, x1 - body[2], y1 - body[3]
    return {"front": front, "rear": rear, "left": left, "right": right}


def _beside(wanted: Sequence[float], allowed: Sequence[float] | None) -> list[float]:
    """The wanted headings, or the allowed ones nearest to them."""
    if allowed is None:
        return list(wanted)
    return [min(allowed, key=lambda a: abs((a - w + 180) % 360 - 180)) for w in wanted]


def _wall_headings(plan: FloorPlan) -> list[float]:
    """Along and across the longest walls: where a vehicle that barely fails to fit would stand."""
    corners = shapely.get_coordinates(plan.outline.exterior)
    steps = corners[1:] - corners[:-1]
    longest = np.argsort(-np.hypot(*steps.T))[:LOOKED_ALONG]
    along = {round(math.degrees(math.atan2(y, x)) % 90, 6) for x, y in steps[longest]}
    return [heading + quarter for heading in sorted(along) for quarter in (0, 90, 180, 270)]
