"""One day in the shop: its visits and how they stand, its people, its floor, what is shut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from bays import floor, hours
from bays.models import Closure, Hold, HoldReason, ResourceKind, Technician, UnitDowntime
from bays.selectors.calendar import opening_spans, shift_spans, technicians
from bays.selectors.floor import current_floor
from jobs.models import Step, Visit
from shopcal.errors import NotFound

# A fresh promise keeps ten minutes at least, so one with less has lost some of its room.
AT_RISK_BELOW = timedelta(minutes=10)
IN_THE_SHOP = ("checked_in", "in_work", "on_hold", "ready")
NOT_FINISHED = ("booked", "checked_in", "in_work", "on_hold")


class Standing(StrEnum):
    """How a visit stands against what the customer was told."""

    ON_PROMISE = "on promise"
    AT_RISK = "at risk"
    LATE = "late"
    NOT_PLANNED = "not planned"
    KEPT = "kept"
    CANCELLED = "cancelled"


@dataclass(frozen=True)
class VisitStanding:
    """A visit with its steps in order, and when the plan has it finished (None: not planned)."""

    visit: Visit
    steps: tuple[Step, ...]
    finishes_at: datetime | None
    standing: Standing
    late_minutes: int = 0

    @property
    def next_step(self) -> Step | None:
        left = (s for s in self.steps if s.state in (Step.State.PLANNED, Step.State.DOING))
        return next(left, None)

    @property
    def open(self) -> bool:
        return self.visit.state in NOT_FINISHED


@dataclass(frozen=True)
class PersonDay:
    """A technician's working spans on the day, lunch and absences taken out."""

    technician: Technician
    spans: tuple[hours.Span, ...]


@dataclass(frozen=True)
class Day:
    """Everything the day board shows. ``plan`` is None while the shop has no floor plan."""

    on: date
    zone: ZoneInfo
    now: datetime
    starts_at: datetime
    ends_at: datetime
    open_spans: tuple[hours.Span, ...]
    closed_because: str
    visits: tuple[VisitStanding, ...]
    people: tuple[PersonDay, ...]
    plan: floor.FloorPlan | None
    closed_zones: tuple[Hold, ...] = field(default=())
    units_out: tuple[UnitDowntime, ...] = field(default=())


def day_of(shop_id: int, zone: ZoneInfo, on: date, now: datetime) -> Day:
    """What happens on a day, read in a number of queries that does not grow with the visits."""
    starts_at = hours.moment_of(on, datetime.min.time(), zone)
    ends_at = hours.moment_of(on + timedelta(days=1), datetime.min.time(), zone)
    visits = visits_of_day(shop_id, starts_at, ends_at, now)
    return Day(
        on=on,
        zone=zone,
        now=now,
        starts_at=starts_at,
        ends_at=ends_at,
        open_spans=opening_spans(shop_id, zone, on, on),
        closed_because=_closed_because(shop_id, on),
        visits=tuple(standing_of(visit, now) for visit in visits),
        people=tuple(
            PersonDay(person, shift_spans(person, zone, on, on)) for person in technicians(shop_id)
        ),
        plan=_plan(shop_id),
        closed_zones=tuple(_closed_zones(shop_id, starts_at, ends_at)),
        units_out=tuple(_units_out(shop_id, starts_at, ends_at)),
    )


def visits_of_day(
    shop_id: int, starts_at: datetime, ends_at: datetime, now: datetime
) -> QuerySet[Visit]:
    """Visits with work or a promise that day; on the day itself also what stands in the shop
    and what should have been finished before."""
    working = Step.objects.for_shop(shop_id).filter(starts_at__lt=ends_at, ends_at__gt=starts_at)
    wanted = Q(pk__in=working.values("visit_id")) | Q(
        promised_at__gte=starts_at, promised_at__lt=ends_at
    )
    if starts_at <= now < ends_at:
        wanted |= Q(state__in=IN_THE_SHOP)
        wanted |= Q(state__in=NOT_FINISHED, promised_at__lt=now)
    return (
        Visit.objects.for_shop(shop_id)
        .filter(wanted)
        .exclude(state="cancelled")
        .select_related("vehicle")
        .prefetch_related("steps__technician", "steps__second_person")
        .order_by("promised_at", "id")
    )


def standing_of(visit: Visit, now: datetime) -> VisitStanding:
    """Compare the plan, or what happened, with the promise. Reads the visit's steps."""
    steps = tuple(step for step in visit.steps.all() if step.state != Step.State.CANCELLED)
    if visit.state == "cancelled":
        return VisitStanding(visit, steps, None, Standing.CANCELLED)
    if visit.state not in NOT_FINISHED:
        done_at = visit.ready_at or visit.released_at
        late = _minutes_after(visit, done_at)
        return VisitStanding(visit, steps, done_at, Standing.LATE if late else Standing.KEPT, late)
    finishes_at = finish_of(steps, now)
    if finishes_at is None:
        late = _minutes_after(visit, now)
        standing = Standing.LATE if late else Standing.NOT_PLANNED
        return VisitStanding(visit, steps, None, standing, late)
    late = _minutes_after(visit, max(finishes_at, now))
    if late:
        return VisitStanding(visit, steps, finishes_at, Standing.LATE, late)
    tight = visit.promised_at - finishes_at < AT_RISK_BELOW
    return VisitStanding(
        visit, steps, finishes_at, Standing.AT_RISK if tight else Standing.ON_PROMISE
    )


def finish_of(steps: Sequence[Step], now: datetime) -> datetime | None:
    """When the last step ends by the plan; None while a step has no time."""
    ends = []
    for step in steps:
        end = step.ended_at if step.state == Step.State.DONE else step.ends_at
        if end is None:
            return None
        ends.append(max(end, now) if step.state == Step.State.DOING else end)
    return max(ends, default=None)


def _minutes_after(visit: Visit, moment: datetime | None) -> int:
    """Whole minutes past the promise, 0 if none."""
    if moment is None:
        return 0
    return max(0, int((moment - visit.promised_at).total_seconds() // 60))


def _plan(shop_id: int) -> floor.FloorPlan | None:
    try:
        return current_floor(shop_id).plan
    except NotFound:
        return None


def _closed_because(shop_id: int, on: date) -> str:
    closure = Closure.objects.for_shop(shop_id).filter(starts_on__lte=on, ends_on__gte=on).first()
    return closure.reason if closure else ""


def _closed_zones(shop_id: int, starts_at: datetime, ends_at: datetime) -> QuerySet[Hold]:
    return (
        Hold.objects.for_shop(shop_id)
        .filter(resource__kind=ResourceKind.ZONE, starts_at__lt=ends_at, ends_at__gt=starts_at)
        .exclude(reason=HoldReason.WORK)
        .select_related("resource")
    )


def _units_out(shop_id: int, starts_at: datetime, ends_at: datetime) -> QuerySet[UnitDowntime]:
    return (
        UnitDowntime.objects.for_shop(shop_id)
        .filter(starts_at__lt=ends_at)
        .filter(Q(ends_at__isnull=True) | Q(ends_at__gt=starts_at))
        .select_related("unit")
    )
