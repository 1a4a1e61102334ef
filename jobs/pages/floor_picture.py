"""The floor at a moment as a drawing: what stands there, what is held, how much room there is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

import shapely
from django.urls import reverse
from shapely.geometry import LineString, Polygon

from bays import floor
from bays.floor.drive import Drive
from bays.floor.sides import SideRoom, room_on_sides
from bays.models import Hold
from bays.selectors.floor import CurrentFloor
from jobs.drawing import (
    FloorDimension,
    FloorDoor,
    FloorMap,
    FloorMove,
    FloorObstacle,
    FloorVehicle,
    FloorZone,
)
from jobs.drawing.page import Point
from jobs.models import Step
from jobs.pages.floor_words import FloorNames, gap_words, shop_units
from jobs.pages.moments import ShopWords
from jobs.planning.drives import way_to_draw
from jobs.planning.space import shape_of
from jobs.planning.ways import turning_circle_of
from jobs.selectors.floor_now import FloorNow, Standing

# Room that nobody has to think about is not dimensioned, except the least of a vehicle's sides.
FAR_MM = 1500.0
# A body that reaches over the edge of a zone by less than this share of it does not stand there.
STANDS_SHARE = 0.01

# Lines are drawn to this; a pixel of the map is wider.
SEEN_MM = 15.0
# Ways of so many vehicles at once are worked out for the map.
MOST_WAYS = 3

# What the distances are taken from.
MEASURES = {"zones": "clear zones", "bodies": "vehicles", "none": "nothing"}


@dataclass(frozen=True)
class Drawn:
    """A vehicle that can be drawn: it was placed on the edition that is in force."""

    standing: Standing
    pose: floor.Pose
    body: Polygon
    clear: Polygon | None  # None for the vehicle that only waits

    @property
    def name(self) -> str:
        return self.standing.step.visit.ro_number

    @property
    def outer(self) -> Polygon:
        return self.clear or self.body


@dataclass(frozen=True)
class Scene:
    """The floor in force with what stands on it at a moment."""

    current: CurrentFloor
    found: FloorNow
    words: ShopWords
    at: datetime

    @cached_property
    def drawn(self) -> tuple[Drawn, ...]:
        """The vehicles that were placed on this edition of the floor."""
        return tuple(
            _drawn(one)
            for one in self.found.standing
            if one.step.placement and one.step.floor_edition == self.current.edition
        )

    @cached_property
    def zone_rooms(self) -> dict[str, tuple[SideRoom, ...]]:
        """The room on each side of every clear zone, by RO number, up to the others' zones."""
        return self._rooms({one.name: one.outer for one in self.drawn})

    @cached_property
    def body_rooms(self) -> dict[str, tuple[SideRoom, ...]]:
        """The room on each side of every vehicle itself, up to the bodies of the others."""
        return self._rooms({one.name: one.body for one in self.drawn})

    def rooms(self, measure: str) -> dict[str, tuple[SideRoom, ...]]:
        """By what the distances are taken from; see MEASURES."""
        if measure == "none":
            return {}
        return self.body_rooms if measure == "bodies" else self.zone_rooms

    def _rooms(self, shapes: dict[str, Polygon]) -> dict[str, tuple[SideRoom, ...]]:
        return {
            one.name: room_on_sides(
                self.current.plan,
                shapes[one.name],
                one.pose,
                {name: shape for name, shape in shapes.items() if name != one.name},
            )
            for one in self.drawn
        }

    @property
    def zone_names(self) -> FloorNames:
        """What the room of clear zones ends at: others by what of them stands nearest."""
        others = {
            one.name: f"the clear zone of {one.name}" if one.clear else one.name
            for one in self.drawn
        }
        return FloorNames(self.current.plan, others)

    @property
    def body_names(self) -> FloorNames:
        return FloorNames(self.current.plan, {one.name: one.name for one in self.drawn})


def _drawn(one: Standing) -> Drawn:
    placement = one.step.placement or {}
    x, y, heading = placement["pose"]
    clear = None if one.waiting else Polygon(placement["polygon"])
    return Drawn(one, floor.Pose(x, y, heading), Polygon(placement["body"]), clear)


def dimensions_of(
    rooms: Mapping[str, tuple[SideRoom, ...]], words: ShopWords, *, body: bool = False
) -> tuple[FloorDimension, ...]:
    """The distances worth drawing: the least of each vehicle, and whatever else is near.

    What stands between two vehicles is drawn once.
    """
    units = shop_units(words.units)
    drawn: list[FloorDimension] = []
    told: set[frozenset[str]] = set()
    for name, sides in rooms.items():
        least = min((room.gap_mm for room in sides), default=0.0)
        for room in sides:
            pair = frozenset({name, room.against})
            if (room.gap_mm > FAR_MM and room.gap_mm > least) or room.gap_mm < 1:
                continue
            if room.against in rooms and pair in told:
                continue
            told.add(pair)
            said = gap_words(room.gap_mm, units)
            drawn.append(FloorDimension(room.start, room.end, said, body=body))
    return tuple(drawn)


def floor_picture(scene: Scene, *, measure: str = "zones", ways: bool = False) -> FloorMap:
    """The whole map of a moment; a page sets width, ratio and what is being placed.

    ``ways`` also works out and draws the way of every vehicle that is on the move, which takes
    seconds where nobody has asked for that vehicle before.
    """
    plan, words = scene.current.plan, scene.words
    return replace(
        bare_floor(plan, words),
        title=f"{plan.name}, {words.moment(scene.at)}",
        zones=zones_of(scene),
        vehicles=tuple(_vehicle(one, words) for one in scene.drawn),
        dimensions=dimensions_of(scene.rooms(measure), words, body=measure == "bodies"),
        moves=moves_of(scene) if ways else (),
    )


def moves_of(scene: Scene) -> tuple[FloorMove, ...]:
    """The ways of the vehicles on the move, as far as they are found."""
    plan = scene.current.plan
    found = []
    for moving in scene.found.moving[:MOST_WAYS]:
        step = moving.step
        if not step.placement or step.floor_edition != scene.current.edition:
            continue
        vehicle = step.visit.vehicle
        way = way_to_draw(
            plan,
            shape_of(vehicle),
            turning_circle_of(vehicle),
            floor.Pose(*step.placement["pose"]),
            door_id=(step.placement.get("way") or {}).get("door", ""),
        )
        if way.drive is not None:
            found.append(move_drawn(way.drive, step.visit.ro_number, way.says))
    return tuple(found)


def move_drawn(drive: Drive, reference: str, says: str) -> FloorMove:
    """A drive as drawn: whole, but without more corners than can be seen."""
    swept = drive.swept.simplify(SEEN_MM)
    polygons = [p for p in shapely.get_parts(swept) if isinstance(p, Polygon)]
    rings = [ring for p in polygons for ring in (p.exterior, *p.interiors)]
    line = LineString([(pose.x_mm, pose.y_mm) for pose in drive.path]).simplify(SEEN_MM)
    return FloorMove(
        reference=reference,
        swept=tuple(_points(ring.coords) for ring in rings),
        line=_points(line.coords),
        title=f"{reference}: {says}",
    )


def bare_floor(plan: floor.FloorPlan, words: ShopWords) -> FloorMap:
    """The plan without anything on it."""
    return FloorMap(
        title=plan.name,
        outline=_ring(plan.outline),
        holes=tuple(_points(ring.coords) for ring in plan.outline.interiors),
        zones=tuple(_zone(zone) for zone in plan.zones.values()),
        obstacles=tuple(FloorObstacle(o.kind, _ring(o.polygon), name=o.id) for o in plan.obstacles),
        doors=tuple(FloorDoor(d.start, d.end, d.id) for d in plan.doors),
        units=shop_units(words.units),
        width=960,
    )


def zones_of(scene: Scene) -> tuple[FloorZone, ...]:
    """Every zone with its state: closed, or held by a clear zone while nobody stands there."""
    closed = {hold.resource.code: hold for hold in scene.found.closed}
    bodies = [one.body for one in scene.drawn]
    crossed = {code for move in scene.found.moving for code in move.zones}
    return tuple(
        _state(
            zone,
            closed.get(zone.id),
            scene.found.held.get(zone.id),
            bodies,
            zone.id in crossed,
            scene,
        )
        for zone in scene.current.plan.zones.values()
    )


def _state(
    zone: floor.Zone,
    closed: Hold | None,
    holder: Step | None,
    bodies: Iterable[Polygon],
    crossed: bool,
    scene: Scene,
) -> FloorZone:
    plain = _zone(zone)
    if closed is not None:
        until = scene.words.briefly(closed.ends_at, scene.words.day_of(scene.at))
        why = f": {closed.note}" if closed.note else ""
        name = plain.name or zone.name
        return replace(
            plain, name=name, note=f"closed until {until}{why}", brief="closed", state="closed"
        )
    if holder is None or any(_stands_in(body, zone.polygon) for body in bodies):
        return plain
    ro_number = holder.visit.ro_number
    if crossed:
        return replace(
            plain, name=zone.name, note=f"{ro_number} drives here", brief=ro_number, state="crossed"
        )
    return replace(
        plain, name=zone.name, note=f"taken by {ro_number}", brief=ro_number, state="blocked"
    )


def _stands_in(body: Polygon, area: Polygon) -> bool:
    return bool(body.intersection(area).area > STANDS_SHARE * body.area)


def _vehicle(one: Drawn, words: ShopWords) -> FloorVehicle:
    step = one.standing.step
    return FloorVehicle(
        reference=one.name,
        body=_ring(one.body),
        heading_deg=one.pose.heading_deg,
        clear_zone=() if one.clear is None else _ring(one.clear),
        says="" if one.clear is None else spare_words(step, words),
        label=step.visit.vehicle.label,
        url=reverse("visit-detail", args=[step.visit_id]),
        proposed=one.standing.expected,
    )


def spare_words(step: Step, words: ShopWords) -> str:
    """``70 cm to spare``, where the step has a clear zone on the floor."""
    placement = step.placement or {}
    return words.spare(placement["margin_mm"]) if "margin_mm" in placement else ""


def _zone(zone: floor.Zone) -> FloorZone:
    name = "" if zone.kind == "rest" else zone.name
    return FloorZone(id=zone.id, name=name, kind=zone.kind, polygon=_ring(zone.polygon))


def _ring(polygon: Polygon) -> tuple[Point, ...]:
    return _points(polygon.exterior.coords)


def _points(coordinates: Any) -> tuple[Point, ...]:
    return tuple((float(point[0]), float(point[1])) for point in coordinates)
