"""Where a vehicle with a procedure's clear zone can stand, for the planner and for the drawing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bays import floor
from bays.convert.planner import zone_key
from bays.models import FloorPlanEdition
from bays.planner import Placement as PlannedPlacement
from bays.selectors.floor import CurrentFloor
from jobs.models import Step
from jobs.models.vehicle import Dimensions
from jobs.procedures import ProcedureContent

LOT = "lot"
ROAD = "road"
OUTSIDE = {
    LOT: PlannedPlacement(id=LOT, zones=frozenset(), kind="lot", label="Outside"),
    ROAD: PlannedPlacement(id=ROAD, zones=frozenset(), kind="road", label="Road"),
}


@dataclass(frozen=True)
class Place:
    """A placement the planner may choose, with what the floor knows of it (None for outside)."""

    planned: PlannedPlacement
    found: floor.Placement | None = None
    edition: FloorPlanEdition | None = None


def shape_of(vehicle: Dimensions) -> floor.VehicleShape:
    """The outline of a vehicle or of a kind of vehicle."""
    return floor.VehicleShape(
        width_mm=vehicle.width_mm,
        wheelbase_mm=vehicle.wheelbase_mm,
        front_overhang_mm=vehicle.front_overhang_mm,
        rear_overhang_mm=vehicle.rear_overhang_mm,
        tyre_track_outer_mm=vehicle.tyre_track_mm,
    )


def places_for(
    current: CurrentFloor, shape: floor.VehicleShape, content: ProcedureContent
) -> dict[str, Place]:
    """Every placement for a procedure and a vehicle, by planner id; the road for road drives."""
    if content.road:
        return {ROAD: Place(OUTSIDE[ROAD])}
    zone = clear_zone_of(content)
    parts = floor.resolve(zone, shape)
    prefix = _digest(current.edition.digest, shape, content.clear_zone, content.zone_kind)
    places = {}
    for found in floor.placements(current.plan, parts, None):
        if content.zone_kind and not _of_kind(current.plan, found, content.zone_kind):
            continue
        if not level_enough(current, found, content):
            continue
        planned = PlannedPlacement(
            id=f"{prefix}:{found.key}",
            zones=frozenset(zone_key(code) for code in found.zones),
            kind="floor",
            label=found.label,
            margin_mm=found.margin_mm,
        )
        places[planned.id] = Place(planned, found, current.edition)
    return places


def clear_zone_of(content: ProcedureContent) -> floor.ClearZone:
    """The clear zone of an edition; without one the body alone must be clear."""
    return floor.ClearZone.from_content(content.clear_zone or {"parts": []})


def place_of_step(step: Step) -> Place | None:
    """The place a step holds in the plan in force, from what was stored with it."""
    if step.placement_key in OUTSIDE:
        return Place(OUTSIDE[step.placement_key])
    if not step.placement_key or step.placement is None:
        return None
    stored: Mapping[str, Any] = step.placement
    planned = PlannedPlacement(
        id=step.placement_key,
        zones=frozenset(zone_key(code) for code in stored["zones"]),
        kind="floor",
        label=step.placement_label,
        margin_mm=stored["margin_mm"],
    )
    return Place(planned, None, step.floor_edition)


def stored_placement(found: floor.Placement) -> dict[str, Any]:
    """What is kept with a step: unrounded, in the plan's frame, millimetres and degrees."""
    return {
        "zones": sorted(found.zones),
        "pose": [found.pose.x_mm, found.pose.y_mm, found.pose.heading_deg],
        "margin_mm": found.margin_mm,
        "polygon": [list(point) for point in found.polygon],
        "body": [list(point) for point in found.body],
    }


def _of_kind(plan: floor.FloorPlan, found: floor.Placement, kind: str) -> bool:
    """Whether the vehicle itself stands in a bay of this kind."""
    bays = {bay.id: bay for bay in plan.bays}
    return any(plan.zones[zone].kind == kind for bay in found.bay_ids for zone in bays[bay].zones)


def _digest(*parts: object) -> str:
    """A short, stable name of what a placement was computed for."""
    text = json.dumps(parts, default=repr, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def level_enough(current: CurrentFloor, found: floor.Placement, content: ProcedureContent) -> bool:
    """False only where a survey proves the floor there unfit; unknown floor may be used."""
    if content.floor is None or current.survey is None:
        return True
    tolerance = floor.LevelTolerance(content.floor.slope_percent, content.floor.deviation_mm)
    judged = floor.level(current.survey.points, found.polygon, found.pose.heading_deg, tolerance)
    return judged.verdict != "no"
