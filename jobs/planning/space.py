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
from jobs.planning.ground import Ground, ground_of, stored_ground
from jobs.planning.kept_places import kept_placements
from jobs.planning.ways import DEFAULT_TURNING_CIRCLE_MM, Way, known_ways, way_written
from jobs.procedures import ProcedureContent

# Beside a place to which no way was found; that there is none is not proven.
NO_WAY = "way in not found"
LOT = "lot"
ROAD = "road"
OUTSIDE = {
    LOT: PlannedPlacement(id=LOT, zones=frozenset(), kind="lot", label="Outside"),
    ROAD: PlannedPlacement(id=ROAD, zones=frozenset(), kind="road", label="Road"),
}


@dataclass(frozen=True)
class Place:
    """A placement the planner may choose, with what the floor knows of it (None for outside),
    what its surveys say, and the way in where it was worked out already.
    """

    planned: PlannedPlacement
    found: floor.Placement | None = None
    edition: FloorPlanEdition | None = None
    ground: Ground | None = None
    way: Way | None = None


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
    current: CurrentFloor,
    shape: floor.VehicleShape,
    content: ProcedureContent,
    turning_circle_mm: int = DEFAULT_TURNING_CIRCLE_MM,
) -> dict[str, Place]:
    """Every placement for a procedure and a vehicle, by planner id; the road for road drives.

    A place is left out where it is proven that the vehicle cannot be driven there.
    """
    if content.road:
        return {ROAD: Place(OUTSIDE[ROAD])}
    prefix = _digest(current.edition.digest, shape, content.clear_zone, content.zone_kind)
    places = {}
    everywhere = kept_placements(current.plan, shape, clear_zone_of(content))
    ways = known_ways(current.plan, shape, turning_circle_mm, everywhere)
    for found, way in zip(everywhere, ways, strict=True):
        if content.zone_kind and not _of_kind(current.plan, found, content.zone_kind):
            continue
        ground = ground_of(current.surveys, found.polygon, found.pose.heading_deg, content)
        if not ground.usable:
            continue
        if way is not None and way.verdict == "impossible":
            continue
        planned = _planned(f"{prefix}:{found.key}{_mark(way)}", found, way)
        places[planned.id] = Place(planned, found, current.edition, ground, way)
    return places


def _mark(way: Way | None) -> str:
    """Told apart by the way in: a booking keeps the way that it was made with, and its holds."""
    if way is None:
        return ""
    return "~" + _digest(way.verdict, way.minutes, sorted(way.crosses))[:6]


def _planned(key: str, found: floor.Placement, way: Way | None) -> PlannedPlacement:
    lost = way is not None and way.verdict == "not found"
    return PlannedPlacement(
        id=key,
        zones=frozenset(zone_key(code) for code in found.zones),
        kind="floor",
        label=f"{found.label} ({NO_WAY})" if lost else found.label,
        margin_mm=found.margin_mm,
        drive_minutes=way.minutes if way else None,
        crosses=way.planner_zones if way else frozenset(),
    )


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
        **_stored_way(stored),
    )
    return Place(planned, None, step.floor_edition)


def _stored_way(stored: Mapping[str, Any]) -> dict[str, Any]:
    """The way that was known when the step was planned; a booking keeps its edition's."""
    way = stored.get("way") or {}
    crosses = frozenset(zone_key(code) for code in way.get("crosses", ()))
    return {"drive_minutes": way.get("minutes"), "crosses": crosses}


def stored_placement(
    found: floor.Placement, ground: Ground | None = None, way: Way | None = None
) -> dict[str, Any]:
    """What is kept with a step: unrounded, in the plan's frame, millimetres and degrees.

    ``ground`` is kept with the surveys it was judged by, so that an old result keeps them, and
    the way in as it was known.
    """
    return {
        "zones": sorted(found.zones),
        "pose": [found.pose.x_mm, found.pose.y_mm, found.pose.heading_deg],
        "margin_mm": found.margin_mm,
        "polygon": [list(point) for point in found.polygon],
        "body": [list(point) for point in found.body],
        "ground": stored_ground(ground) if ground is not None else {},
        "way": way_written(way) if way is not None else {},
    }


def _of_kind(plan: floor.FloorPlan, found: floor.Placement, kind: str) -> bool:
    """Whether the vehicle itself stands in a bay of this kind."""
    bays = {bay.id: bay for bay in plan.bays}
    return any(plan.zones[zone].kind == kind for bay in found.bay_ids for zone in bays[bay].zones)


def _digest(*parts: object) -> str:
    """A short, stable name of what a placement was computed for."""
    text = json.dumps(parts, default=repr, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:12]
