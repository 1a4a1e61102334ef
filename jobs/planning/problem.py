"""The whole shop as one planner problem, with the plan in force."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import QuerySet
from django.utils import timezone

from bays.convert.planner import (
    Clock,
    person_key,
    resource_key,
    unit_key,
    windows_inside,
    zone_key,
)
from bays.models import EquipmentType, Hold, HoldReason, ResourceKind
from bays.planner import Blocked, Costs, Operation, Plan, Problem, Row, Vehicle, plan_of
from bays.planner import Placement as PlannedPlacement
from bays.planner.holding import DRIVING
from bays.selectors.calendar import opening_spans, workers
from bays.selectors.equipment import planned_units
from bays.selectors.floor import CurrentFloor, current_floor
from jobs.models import Step, Visit
from jobs.planning.space import LOT, OUTSIDE, Place, place_of_step, places_for, shape_of
from jobs.planning.ways import turning_circle_of
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of
from shopcal.accounts.models import Shop

HORIZON_DAYS = 14
# A planned step that has not begun this long after its time is planned anew.
LATE_START_MINUTES = 15
# Somebody has to be told of every change: it costs as much as half an hour's waiting, another
# person or place half of that (common practice, no source).
COSTS = Costs(changed_start=30, changed_resource=15)
OPEN_STATES = ("booked", "checked_in", "in_work", "on_hold")


@dataclass(frozen=True)
class ShopPlan:
    """The problem, the plan in force, and what is needed to read rows back into steps."""

    shop: Shop
    clock: Clock
    current: CurrentFloor
    problem: Problem
    plan: Plan
    steps: Mapping[str, Step]  # by operation id
    places: Mapping[str, Place]
    common_types: frozenset[str]  # equipment that lies about in number and is never held

    def with_places(self, places: Mapping[str, Place]) -> ShopPlan:
        """The same shop with more places the planner may choose."""
        placements = {
            **self.problem.placements,
            **{p.planned.id: p.planned for p in places.values()},
        }
        problem = replace(self.problem, placements=placements)
        return replace(self, problem=problem, places={**self.places, **places})

    def with_vehicle(self, vehicle: Vehicle, places: Mapping[str, Place]) -> ShopPlan:
        """The same shop with one more vehicle to place."""
        wider = self.with_places(places)
        vehicles = (*wider.problem.vehicles, vehicle)
        return replace(wider, problem=replace(wider.problem, vehicles=vehicles))


def operation_id(step: Step) -> str:
    return f"step:{step.pk}"


def vehicle_id(visit: Visit) -> str:
    return f"visit:{visit.pk}"


def load_shop_plan(
    shop: Shop,
    now: datetime,
    *,
    days: int = HORIZON_DAYS,
    late_start_minutes: int = LATE_START_MINUTES,
) -> ShopPlan:
    """Everything the planner must know, read in a fixed number of queries.

    Steps that are being done or that a manager pinned become pins; planned steps become the plan
    in force. A planned step that has not begun ``late_start_minutes`` after its time loses its
    place, so that a re-plan finds it a new one. Steps done already are no longer the planner's
    business.

    Raises:
        NotFound: the shop has no floor plan yet.
    """
    today = now.astimezone(shop.zone).date()
    visits = list(_open_visits(shop.pk))
    clock = Clock.from_day(_first_day(visits, shop, today), shop.zone)
    last_on = today + timedelta(days=days)
    horizon = clock.down(Clock.from_day(last_on, shop.zone).origin)
    current = current_floor(shop.pk)
    common = frozenset(
        EquipmentType.objects.for_shop(shop.pk)
        .filter(exclusive=False)
        .values_list("code", flat=True)
    )
    reader = _VisitReader(clock, current, common, clock.up(now), late_start_minutes)
    vehicles = tuple(vehicle for visit in visits if (vehicle := reader.vehicle(visit)) is not None)
    others = _other_holds(shop.pk, now, reader.steps.values())
    waiting = reader.waiting(visits, others)
    people = workers(shop.pk, clock, clock.origin.date(), last_on)
    units = planned_units(shop.pk, clock, horizon)
    problem = Problem(
        origin=clock.origin,
        now=clock.up(now),
        horizon=horizon,
        move_minutes=shop.move_minutes,
        open=windows_inside(clock, opening_spans(shop.pk, shop.zone, clock.origin.date(), last_on)),
        placements=reader.planned_placements(),
        technicians=people,
        units=units,
        vehicles=tuple(replace(v, stands=waiting.stands.get(v.id)) for v in vehicles),
        pins=tuple(reader.pins),
        previous=tuple(reader.rows),
        blocked=_blocked(
            clock, others, waiting, {*(one.id for one in people), *(one.id for one in units)}
        ),
        costs=COSTS,
        technicians_drive=shop.technicians_move_vehicles,
        zones=frozenset(zone_key(code) for code in current.plan.zones)
        | {_key(hold) for hold in others if hold.resource.kind == ResourceKind.ZONE},
    )
    return ShopPlan(
        shop=shop,
        clock=clock,
        current=current,
        problem=problem,
        plan=plan_of(problem, reader.rows),
        steps=reader.steps,
        places=reader.places,
        common_types=common,
    )


def warm_shop_plan(shop_id: int) -> None:
    """Work out whatever placements this process has not yet, before a transaction needs them.

    Cold, that takes seconds, and on SQLite a transaction keeps every other writer waiting.
    """
    load_shop_plan(Shop.objects.get(pk=shop_id), timezone.now())


def _open_visits(shop_id: int) -> QuerySet[Visit]:
    return (
        Visit.objects.for_shop(shop_id)
        .filter(state__in=OPEN_STATES)
        .select_related("vehicle")
        .prefetch_related(
            "steps__technician",
            "steps__second_person",
            "steps__floor_edition",
            "steps__calibration__edition__procedure",
        )
        .order_by("promised_at", "id")
    )


def _first_day(visits: Sequence[Visit], shop: Shop, today: date) -> date:
    """The earliest day any step that matters began on, today at the latest."""
    starts = [
        step.starts_at
        for visit in visits
        for step in visit.steps.all()
        if step.starts_at is not None and step.state in (Step.State.PLANNED, Step.State.DOING)
    ]
    return min([today, *(moment.astimezone(shop.zone).date() for moment in starts)])


@dataclass(frozen=True)
class _Waiting:
    """Where vehicles wait: placement by vehicle, and vehicle by the step that holds the floor."""

    stands: dict[str, str]
    by_step: dict[int, str]


class _VisitReader:
    """Reads visits into vehicles, rows and pins, collecting the places they use."""

    def __init__(
        self,
        clock: Clock,
        current: CurrentFloor,
        common: frozenset[str],
        now: int,
        late_start_minutes: int,
    ) -> None:
        self.clock = clock
        self.current = current
        self.common = common
        self.now = now
        self.late_start_minutes = late_start_minutes
        self.places: dict[str, Place] = {key: Place(place) for key, place in OUTSIDE.items()}
        self.steps: dict[str, Step] = {}
        self.rows: list[Row] = []
        self.pins: list[Row] = []

    def vehicle(self, visit: Visit) -> Vehicle | None:
        """The visit's steps still to do; None when none is left."""
        left = [s for s in visit.steps.all() if s.state in (Step.State.PLANNED, Step.State.DOING)]
        if not left:
            return None
        operations = tuple(self._operation(visit, step) for step in left)
        release = self._release(visit, left)
        return Vehicle(
            id=vehicle_id(visit),
            label=visit.ro_number,
            release=release,
            due=self.clock.up(visit.promised_at),
            weight=visit.weight,
            operations=operations,
        )

    def waiting(self, visits: Sequence[Visit], others: Sequence[Hold]) -> _Waiting:
        """Vehicles that wait on the floor where their last step was done, and for which step."""
        held = {
            hold.step_id
            for hold in others
            if hold.resource.kind == ResourceKind.ZONE and hold.note not in DRIVING
        }
        found = _Waiting({}, {})
        for visit in visits:
            for step in visit.steps.all():
                place = place_of_step(step) if step.pk in held else None
                if place is None or place.planned.kind != "floor":
                    continue
                self.places.setdefault(place.planned.id, place)
                found.stands[vehicle_id(visit)] = place.planned.id
                found.by_step[step.pk] = vehicle_id(visit)
        return found

    def planned_placements(self) -> dict[str, PlannedPlacement]:
        return {key: place.planned for key, place in self.places.items()}

    def _release(self, visit: Visit, left: Sequence[Step]) -> int:
        """When the vehicle is there and its last finished step is over."""
        done = [s.ended_at for s in visit.steps.all() if s.ended_at is not None]
        release = max(
            [self.clock.up(visit.arrives_at), *(self.clock.up(moment) for moment in done)]
        )
        starts = [self.clock.down(s.starts_at) for s in left if s.starts_at is not None]
        return max(0, min([release, *starts]))

    def _operation(self, visit: Visit, step: Step) -> Operation:
        operation = operation_id(step)
        self.steps[operation] = step
        places = self._places(visit, step)
        self.places.update(places)
        row = self._row(visit, step)
        minutes, lag = step.minutes, step.lag_minutes
        shared = min(step.shared_minutes, minutes - max(step.second_person_minutes, 1))
        waits = self.clock.up(step.not_before) if step.not_before else 0
        if row is not None:
            self.rows.append(row)
            if step.state == Step.State.DOING or step.pinned or row.start < self.now:
                self.pins.append(row)
                minutes, lag, shared, waits = row.end - row.start, 0, 0, 0
        return Operation(
            id=operation,
            kind=step.kind,
            minutes=minutes,
            skill=step.skill_code or None,
            equipment=tuple(code for code in step.equipment_codes if code not in self.common),
            placements=tuple(places),
            anywhere=step.kind in (Step.Kind.PRE_SCAN, Step.Kind.POST_SCAN),
            lag=lag,
            second_person_minutes=min(step.second_person_minutes, minutes),
            label=step.label,
            not_before=max(0, waits),
            set_up=step.set_up,
            shared_minutes=max(0, shared),
        )

    def _places(self, visit: Visit, step: Step) -> dict[str, Place]:
        places: dict[str, Place] = {}
        calibration = getattr(step, "calibration", None)
        if calibration is not None:
            content: ProcedureContent = content_of(calibration.edition)
            places = places_for(
                self.current, shape_of(visit.vehicle), content, turning_circle_of(visit.vehicle)
            )
        held = place_of_step(step)
        if held is not None and held.planned.id not in places:
            places[held.planned.id] = held
        return places or {LOT: Place(OUTSIDE[LOT])}

    def _row(self, visit: Visit, step: Step) -> Row | None:
        if step.starts_at is None or step.ends_at is None or step.technician is None:
            return None
        people = [p for p in (step.technician, step.second_person) if p is not None]
        if not all(person.active for person in people):
            return None  # whoever left cannot keep a place in the plan
        doing = step.state == Step.State.DOING
        start = self.clock.down(step.starts_at)
        if not doing and start < self.now - self.late_start_minutes:
            return None
        end = self.clock.up(step.ends_at)
        return Row(
            vehicle=vehicle_id(visit),
            operation=operation_id(step),
            start=start,
            end=max(end, self.now) if doing else end,
            technician=person_key(step.technician.code),
            second_person=person_key(step.second_person.code) if step.second_person else None,
            units=tuple(unit_key(code) for code in step.unit_codes),
            placement=step.placement_key or LOT,
            park_after=step.park_after,
        )


def _other_holds(shop_id: int, now: datetime, open_steps: Collection[Step]) -> list[Hold]:
    """Holds the planner does not place itself: upkeep, closed floor, and the floor that a vehicle
    stands on after a step that is over, or drives through then."""
    return list(
        Hold.objects.for_shop(shop_id)
        .filter(ends_at__gt=now)
        .exclude(step_id__in=[step.pk for step in open_steps])
        .select_related("resource")
    )


def _blocked(
    clock: Clock, others: Sequence[Hold], waiting: _Waiting, planned: Collection[str]
) -> tuple[Blocked, ...]:
    """The same for the planner; people and units it does not plan are left out."""
    return tuple(
        Blocked(
            resource_id=_key(hold),
            window=clock.around(max(hold.starts_at, clock.moment(0)), hold.ends_at),
            reason=hold.note or _reason_words(hold),
            vehicle=waiting.by_step.get(hold.step_id or 0),
        )
        for hold in others
        if hold.resource.kind == ResourceKind.ZONE or _key(hold) in planned
    )


def _key(hold: Hold) -> str:
    return resource_key(hold.resource.kind, hold.resource.code)


def _reason_words(hold: Hold) -> str:
    if hold.reason == HoldReason.WORK:
        return "a vehicle stands there"
    return str(hold.get_reason_display())
