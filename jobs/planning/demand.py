"""The demand of past weeks as one planner problem: who came when, for what, promised for when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from bays.convert.planner import Clock, windows_inside, zone_key
from bays.models import EquipmentType, Hold, HoldReason
from bays.planner import Blocked, Operation, Problem, Vehicle
from bays.planner.what_if import OVERRUN_MINUTES, Month, weeks_of
from bays.selectors.calendar import opening_spans, workers
from bays.selectors.equipment import planned_units
from bays.selectors.floor import CurrentFloor, current_floor
from jobs.models import Step, Visit
from jobs.planning.problem import operation_id, vehicle_id
from jobs.planning.space import LOT, OUTSIDE, Place, place_of_step, places_for, shape_of
from jobs.planning.steps import on_grid
from jobs.planning.ways import turning_circle_of
from jobs.selectors.procedures import content_of
from shopcal.accounts.models import Shop

WEEKS = 4
# A step that took this many times its minutes was left lying, not worked on; it counts as booked.
LEFT_LYING = 4


@dataclass(frozen=True)
class PastDemand:
    """The month with the days it covers, both included."""

    month: Month
    first_on: date
    last_on: date


def past_demand(shop: Shop, now: datetime) -> PastDemand:
    """Everybody who came since the Monday four weeks ago, up to yesterday.

    Arrivals, promises, steps and skills are those of the visits; a step lasts as long as it really
    took. Absences, closures, downtimes and closed floor are as they were. Hours, shifts, people and
    units are those entered today, and so is the floor: a shop that hired since is planned with
    whom it hired.

    Raises:
        NotFound: the shop has no floor plan yet.
    """
    today = now.astimezone(shop.zone).date()
    first_on = today - timedelta(days=today.weekday() + 7 * WEEKS)
    clock = Clock.from_day(first_on, shop.zone)
    end = clock.down(Clock.from_day(today, shop.zone).origin)
    horizon = end + OVERRUN_MINUTES
    last_on = today + timedelta(minutes=OVERRUN_MINUTES)
    reader = _Reader(clock, current_floor(shop.pk), _common(shop.pk))
    vehicles = tuple(
        vehicle
        for visit in _visits(shop.pk, clock.moment(0), clock.moment(end))
        if (vehicle := reader.vehicle(visit)) is not None
    )
    units = planned_units(shop.pk, clock, horizon)
    people = workers(shop.pk, clock, first_on, last_on)
    problem = Problem(
        origin=clock.origin,
        now=0,
        horizon=horizon,
        move_minutes=shop.move_minutes,
        open=windows_inside(clock, opening_spans(shop.pk, shop.zone, first_on, last_on)),
        placements={key: place.planned for key, place in reader.places.items()},
        technicians=people,
        units=units,
        vehicles=vehicles,
        blocked=tuple(_closed(shop.pk, clock, horizon, reader.places)),
        zones=frozenset(zone_key(code) for code in reader.current.plan.zones),
    )
    return PastDemand(Month(problem, weeks_of(0, end)), first_on, today - timedelta(days=1))


def _common(shop_id: int) -> frozenset[str]:
    """Types that lie about in number and are never held."""
    types = EquipmentType.objects.for_shop(shop_id).filter(exclusive=False)
    return frozenset(types.values_list("code", flat=True))


def _visits(shop_id: int, starts_at: datetime, ends_at: datetime) -> Iterable[Visit]:
    """Visits that arrived in this stretch of time, cancelled ones left out."""
    return (
        Visit.objects.for_shop(shop_id)
        .filter(arrives_at__gte=starts_at, arrives_at__lt=ends_at)
        .exclude(state__in=("cancelled", "booked"))
        .select_related("vehicle")
        .prefetch_related("steps__floor_edition", "steps__calibration__edition__procedure")
        .order_by("promised_at", "id")
    )


class _Reader:
    """Reads past visits into vehicles, collecting the places they could have used."""

    def __init__(self, clock: Clock, current: CurrentFloor, common: frozenset[str]) -> None:
        self.clock = clock
        self.current = current
        self.common = common
        self.places: dict[str, Place] = {key: Place(place) for key, place in OUTSIDE.items()}
        self._known: dict[tuple[object, ...], dict[str, Place]] = {}

    def vehicle(self, visit: Visit) -> Vehicle | None:
        steps = [step for step in visit.steps.all() if step.state != Step.State.CANCELLED]
        if not steps:
            return None
        return Vehicle(
            id=vehicle_id(visit),
            label=visit.ro_number,
            release=max(0, self.clock.up(visit.checked_in_at or visit.arrives_at)),
            due=self.clock.up(visit.promised_at),
            weight=visit.weight,
            operations=tuple(self._operation(visit, step) for step in steps),
        )

    def _operation(self, visit: Visit, step: Step) -> Operation:
        places = self._places(visit, step)
        self.places.update(places)
        minutes = minutes_taken(step)
        return Operation(
            id=operation_id(step),
            kind=step.kind,
            minutes=minutes,
            skill=step.skill_code or None,
            equipment=tuple(code for code in step.equipment_codes if code not in self.common),
            placements=tuple(places),
            anywhere=step.kind in (Step.Kind.PRE_SCAN, Step.Kind.POST_SCAN),
            lag=step.lag_minutes,
            second_person_minutes=min(step.second_person_minutes, minutes),
            label=step.label,
        )

    def _places(self, visit: Visit, step: Step) -> Mapping[str, Place]:
        """Every place on today's floor; where there is none, the one that it was done in."""
        calibration = getattr(step, "calibration", None)
        if calibration is None:
            return {LOT: Place(OUTSIDE[LOT])}
        shape, circle = shape_of(visit.vehicle), turning_circle_of(visit.vehicle)
        key = (shape, circle, calibration.edition_id)
        if key not in self._known:
            content = content_of(calibration.edition)
            self._known[key] = places_for(self.current, shape, content, circle)
        held = place_of_step(step)
        if self._known[key] or held is None:
            return self._known[key]
        return {held.planned.id: held}


def minutes_taken(step: Step) -> int:
    """Minutes the step really took, on the planner's grid; as booked where that is not known."""
    if step.started_at is None or step.ended_at is None:
        return on_grid(step.minutes)
    taken = on_grid(round((step.ended_at - step.started_at).total_seconds() / 60))
    return taken if 0 < taken <= LEFT_LYING * step.minutes else on_grid(step.minutes)


def _closed(
    shop_id: int, clock: Clock, horizon: int, places: Mapping[str, Place]
) -> Iterable[Blocked]:
    """Floor that was closed off then. People's and units' own times are in their calendars."""
    needed = {zone for place in places.values() for zone in place.planned.zones}
    closed = (
        Hold.objects.for_shop(shop_id)
        .filter(
            reason=HoldReason.CLOSED,
            resource__kind="zone",
            starts_at__lt=clock.moment(horizon),
            ends_at__gt=clock.moment(0),
        )
        .select_related("resource")
    )
    for hold in closed:
        zone = zone_key(hold.resource.code)
        if zone in needed:
            starts_at = max(hold.starts_at, clock.moment(0))
            yield Blocked(zone, clock.around(starts_at, hold.ends_at), hold.note)
