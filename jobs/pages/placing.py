"""Working out what the page that places a vehicle shows: the answer at a pose, and its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

from bays import floor
from bays.convert.moments import shop_clock
from bays.floor.nearby import best_near
from bays.floor.placement import at_pose
from bays.floor.sides import SideRoom
from bays.floor.words import short_length
from bays.selectors.floor import CurrentFloor
from bays.selectors.free_floor import free_floor
from jobs.drawing import FloorDimension, FloorMap, FloorPlaced
from jobs.models import Step
from jobs.pages.floor_clock import FloorClock
from jobs.pages.floor_picture import FAR_MM, Scene, floor_picture, move_drawn
from jobs.pages.floor_words import FloorNames, gap_words, shop_units
from jobs.pages.place_form import PlaceForm
from jobs.planning.drives import WayDrawn, way_to_draw
from jobs.planning.pose_check import PoseAnswer, check_place, parts_of
from jobs.planning.space import places_for, shape_of
from jobs.planning.ways import turning_circle_of
from jobs.selectors.floor_now import FloorNow, floor_now
from shopcal.accounts.models import Shop

# How long a vehicle is taken to stay where no procedure says it (common practice, no source).
STAY_MINUTES = 60


@dataclass(frozen=True)
class Placing:
    """A vehicle to be placed on the floor as it is at a moment, without that vehicle itself."""

    current: CurrentFloor
    form: PlaceForm
    clock: FloorClock
    shop: Shop

    @cached_property
    def scene(self) -> Scene:
        found = floor_now(self.shop.pk, self.clock.at)
        visit = self.form.visit
        own = visit.pk if visit else None
        others = _without(found, own)
        return Scene(self.current, others, self.clock.words, self.clock.at)

    @cached_property
    def occupied(self) -> frozenset[floor.ZoneId]:
        found = self.scene.found
        codes = set(found.held) | {hold.resource.code for hold in found.closed}
        return frozenset(zone for zone in self.current.plan.zones if zone in codes)

    @cached_property
    def shape(self) -> floor.VehicleShape:
        assert self.form.sized is not None
        return shape_of(self.form.sized)

    @property
    def parts(self) -> tuple[floor.Part, ...]:
        return parts_of(self.shape, self.form.content)

    @cached_property
    def names(self) -> FloorNames:
        """What is met, with who holds it: "Bay 3, taken by 2901"."""
        plan, found = self.current.plan, self.scene.found
        others = {one.name: one.name for one in self.scene.drawn}
        for zone in plan.zones.values():
            if zone.id in found.held:
                ro_number = found.held[zone.id].visit.ro_number
                others[zone.id] = f"{zone.name}, taken by {ro_number}"
        for hold in found.closed:
            zone_name = hold.resource.name
            others[hold.resource.code] = f"{zone_name}, closed"
        return FloorNames(plan, others)

    def answer_at(self, pose: floor.Pose) -> PoseAnswer:
        bodies = {one.name: one.body for one in self.scene.drawn}
        return check_place(self.current, self.shape, self.form.content, pose, self.occupied, bodies)

    def told_at(self, answer: PoseAnswer) -> floor.WhyNot:
        """The floor's own sentence for this pose: what would help, and from when."""
        return floor.why_not(
            self.current.plan,
            answer.parts,
            None,
            self.occupied,
            units=shop_units(self.clock.words.units),
            at=answer.pose,
            free_from=self._free_from,
            clock=shop_clock(self.clock.words.zone, self.clock.words.now),
        )

    def _free_from(self, zones: frozenset[floor.ZoneId]) -> datetime | None:
        if self.form.visit is not None:
            return None  # its own holds, which move with it, would be taken for somebody else's
        minutes = self.form.content.minutes.total if self.form.content else STAY_MINUTES
        return free_floor(self.shop, self.clock.at).free_from(zones, self.clock.at, minutes)

    def start(self) -> floor.Pose:
        """Where it is planned to stand, else in the middle of the first bay along its heading."""
        planned = self._planned()
        if planned is not None:
            return planned
        bay = next(iter(self.current.plan.bays), None)
        if bay is not None:
            return self._centred(bay.centre, bay.heading_deg)
        middle = self.current.plan.outline.representative_point()
        return self._centred((middle.x, middle.y), 0.0)

    def near(self, pose: floor.Pose) -> floor.Pose | None:
        """The roomiest spot close by, at the heading as it is."""
        found = best_near(self.current.plan, self.parts, pose, self.occupied)
        return found.pose if found else None

    @cached_property
    def places(self) -> list[floor.Placement]:
        """Where it fits at this moment, roomiest first."""
        content = self.form.content
        if content is None:
            found: Sequence[floor.Placement] = floor.placements(self.current.plan, self.parts, None)
        else:
            places = places_for(self.current, self.shape, content).values()
            found = [place.found for place in places if place.found is not None]
        free = floor.options(found, self.occupied)
        return sorted(free, key=lambda one: (-one.margin_mm, one.key))

    def way_to(self, pose: floor.Pose) -> WayDrawn:
        """How it could be driven there past what stands on the floor then."""
        assert self.form.sized is not None
        circle = turning_circle_of(self.form.sized)
        return way_to_draw(self.current.plan, self.shape, circle, pose, self.occupied)

    def picture(self, answer: PoseAnswer | None, way: WayDrawn | None = None) -> FloorMap:
        """The floor with what stands on it, the vehicle being placed, and its way in."""
        picture = floor_picture(self.scene, measure="none")
        if answer is None:
            return replace(picture, axes=True)
        taken = {
            zone.id: replace(zone, state="taken", name=self.current.plan.zones[zone.id].name)  # type: ignore[index]
            for zone in picture.zones
            if zone.id in answer.report.zones and not zone.state
        }
        return replace(
            picture,
            axes=True,
            zones=tuple(taken.get(zone.id, zone) for zone in picture.zones),
            placed=_placed(answer, self.form),
            dimensions=self._dimensions(answer),
            moves=(move_drawn(way.drive, "", way.says),) if way and way.drive else (),
        )

    def _dimensions(self, answer: PoseAnswer) -> tuple[FloorDimension, ...]:
        """What is short, drawn where it is missing; else the room of the clear zone."""
        units = shop_units(self.clock.words.units)
        short = {one.side for one in answer.report.shortfalls}
        least = min((room.gap_mm for room in answer.zone_rooms), default=0.0)
        rooms = [
            FloorDimension(room.start, room.end, gap_words(room.gap_mm, units))
            for room in answer.zone_rooms
            if room.side not in short and (1 <= room.gap_mm <= FAR_MM or room.gap_mm == least)
        ]
        near = answer.nearest
        if near is not None and near.gap_mm < min(FAR_MM, least - 1):  # across a corner
            rooms.append(FloorDimension(near.start, near.end, gap_words(near.gap_mm, units)))
        return (*rooms, *(self._missing(answer, one) for one in answer.report.shortfalls))

    def _missing(self, answer: PoseAnswer, short: floor.Shortfall) -> FloorDimension:
        """From the edge of the clear zone inwards, by as much as it must give way."""
        x0, y0, x1, y1 = _bounds(answer.parts)
        spots = {
            "front": ((x1, 0.0), (x1 - short.by_mm, 0.0)),
            "rear": ((x0, 0.0), (x0 + short.by_mm, 0.0)),
            "left": (((x0 + x1) / 2, y1), ((x0 + x1) / 2, y1 - short.by_mm)),
            "right": (((x0 + x1) / 2, y0), ((x0 + x1) / 2, y0 + short.by_mm)),
        }
        from_point, to_point = at_pose(spots[short.side], answer.pose)
        said = short_length(short.by_mm, shop_units(self.clock.words.units))
        return FloorDimension(from_point, to_point, f"{said} short", short=True)

    def _planned(self) -> floor.Pose | None:
        visit = self.form.visit
        if visit is None:
            return None
        for step in visit.steps.all():
            if _is_for(step, self.form) and step.floor_edition_id == self.current.edition.pk:
                x, y, heading = (step.placement or {})["pose"]
                return floor.Pose(x, y, heading)
        return None

    def _centred(self, centre: tuple[float, float], heading_deg: float) -> floor.Pose:
        """The pose that puts the body's middle there."""
        half = self.shape.length_mm / 2 - self.shape.rear_overhang_mm
        back = floor.Pose(centre[0], centre[1], heading_deg)
        ((x, y),) = at_pose(((-half, 0.0),), back)
        return floor.Pose(x, y, heading_deg)


def _is_for(step: Step, form: PlaceForm) -> bool:
    if step.placement is None or form.content is None:
        return False
    return step.label == form.content.name


def _without(found: FloorNow, visit_id: int | None) -> FloorNow:
    if visit_id is None:
        return found
    return replace(
        found,
        standing=tuple(one for one in found.standing if one.step.visit_id != visit_id),
        moving=tuple(one for one in found.moving if one.step.visit_id != visit_id),
        held={code: step for code, step in found.held.items() if step.visit_id != visit_id},
    )


def _placed(answer: PoseAnswer, form: PlaceForm) -> FloorPlaced:
    visit = form.visit
    label = f"{visit.ro_number} {visit.vehicle.label}" if visit else str(form.sized)
    return FloorPlaced(
        pose=(answer.pose.x_mm, answer.pose.y_mm, answer.pose.heading_deg),
        body=answer.body.ring,
        parts=tuple(part.ring for part in answer.parts if part.name != "body"),
        label=f"{label}, being placed",
        fits=answer.fits,
    )


def _bounds(parts: Sequence[floor.Part]) -> tuple[float, float, float, float]:
    xs = [x for part in parts for x, _ in part.ring]
    ys = [y for part in parts for _, y in part.ring]
    return min(xs), min(ys), max(xs), max(ys)


def rooms_by_side(rooms: Sequence[SideRoom]) -> dict[str, SideRoom]:
    return {room.side: room for room in rooms}
