"""What a vehicle with a procedure's clear zone would meet at one pose: for placing it by hand."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry import Polygon

from bays import floor
from bays.floor.placement import at_pose
from bays.floor.sides import Nearest, SideRoom, nearest_thing, room_on_sides
from bays.selectors.floor import CurrentFloor
from jobs.planning.ground import Ground, ground_of
from jobs.planning.space import clear_zone_of
from jobs.procedures import ProcedureContent


@dataclass(frozen=True)
class PoseAnswer:
    """Margin or shortfalls, the room on each side, and what the surveys say of the floor there.

    ``polygon`` is the outer line of clear zone and body; ``needs_mm`` the margin that the step's
    setting-up tolerances ask for. ``on_its_floor`` is false where the procedure asks for a rack
    and the vehicle does not stand in one.
    """

    pose: floor.Pose
    parts: tuple[floor.Part, ...]
    polygon: Polygon
    report: floor.PoseReport
    needs_mm: float
    zone_rooms: tuple[SideRoom, ...]
    body_rooms: tuple[SideRoom, ...]
    nearest: Nearest | None
    ground: Ground | None
    on_its_floor: bool

    @property
    def fits(self) -> bool:
        """Room enough on the right kind of floor, and no survey that proves it unfit."""
        ground_ok = self.ground is None or self.ground.usable
        return self.report.ok and self.on_its_floor and ground_ok

    @property
    def body(self) -> floor.Part:
        return next(part for part in self.parts if part.name == "body")


def parts_of(shape: floor.VehicleShape, content: ProcedureContent | None) -> tuple[floor.Part, ...]:
    """The parts around a vehicle; without a procedure its body alone."""
    zone = clear_zone_of(content) if content else floor.ClearZone(())
    return floor.resolve(zone, shape)


def check_place(
    current: CurrentFloor,
    shape: floor.VehicleShape,
    content: ProcedureContent | None,
    pose: floor.Pose,
    occupied: Set[floor.ZoneId],
    bodies: Mapping[str, Any],
) -> PoseAnswer:
    """Judge one pose. Occupied zones are solid for the clear zone; the vehicle itself is measured
    to the ``bodies`` of the others, by name.
    """
    parts = parts_of(shape, content)
    plan = current.plan
    rings = [Polygon(at_pose(part.ring, pose)) for part in parts]
    whole = shapely.union_all(rings)
    outer = whole if isinstance(whole, Polygon) else whole.convex_hull
    solid = {str(zone): plan.zones[zone].polygon for zone in plan.zones if zone in occupied}
    body = rings[next(i for i, part in enumerate(parts) if part.name == "body")]
    corners = tuple((float(x), float(y)) for x, y in outer.exterior.coords[:-1])
    ground = ground_of(current.surveys, corners, pose.heading_deg, content) if content else None
    return PoseAnswer(
        pose=pose,
        parts=parts,
        polygon=outer,
        report=floor.check_pose(plan, parts, pose, occupied),
        needs_mm=floor.needed_margin_mm(parts),
        zone_rooms=room_on_sides(plan, outer, pose, solid),
        body_rooms=room_on_sides(plan, body, pose, bodies),
        nearest=nearest_thing(plan, outer, solid),
        ground=ground,
        on_its_floor=_on_its_floor(plan, body, content),
    )


def _on_its_floor(plan: floor.FloorPlan, body: Polygon, content: ProcedureContent | None) -> bool:
    if content is None or content.zone_kind is None:
        return True
    kinds = (zone for zone in plan.zones.values() if zone.kind == content.zone_kind)
    return any(zone.polygon.covers(body.centroid) for zone in kinds)
