"""When a shop is open and its people are there, as spans and as the planner's windows."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from bays import hours
from bays.convert import hours as convert
from bays.convert.planner import Clock, person_key, windows_inside
from bays.models import Closure, OpeningHours, Technician
from bays.planner import Technician as Worker
from bays.planner import Window


def opening_spans(
    shop_id: int, zone: ZoneInfo, first_on: date, last_on: date
) -> tuple[hours.Span, ...]:
    """When the shop is open on these days, closures taken out."""
    return hours.opening_spans(
        convert.day_hours(OpeningHours.objects.for_shop(shop_id)),
        convert.closures(Closure.objects.for_shop(shop_id)),
        zone,
        first_on,
        last_on,
    )


def technicians(shop_id: int) -> QuerySet[Technician]:
    """Active technicians with skills, shifts and absences at hand."""
    return (
        Technician.objects.for_shop(shop_id)
        .filter(active=True)
        .prefetch_related("skills__skill", "shifts", "absences")
        .order_by("name")
    )


def shift_spans(
    technician: Technician, zone: ZoneInfo, first_on: date, last_on: date
) -> tuple[hours.Span, ...]:
    """When this technician works, lunch and absences taken out."""
    return hours.shift_spans(
        convert.shift_rules(technician.shifts.all()),
        convert.absence_spans(technician.absences.all()),
        zone,
        first_on,
        last_on,
    )


def workers(shop_id: int, clock: Clock, first_on: date, last_on: date) -> tuple[Worker, ...]:
    """The shop's technicians as the planner sees them."""
    return tuple(
        Worker(
            id=person_key(technician.code),
            name=technician.name,
            skills={
                held.skill.code: _skill_windows(clock, held.valid_from, held.valid_until, last_on)
                for held in technician.skills.all()
            },
            shifts=windows_inside(clock, shift_spans(technician, clock.zone, first_on, last_on)),
        )
        for technician in technicians(shop_id)
    )


def _skill_windows(
    clock: Clock, valid_from: date | None, valid_until: date | None, last_on: date
) -> tuple[Window, ...]:
    starts = clock.up(_midnight(valid_from, clock.zone)) if valid_from else 0
    ends_on = min(valid_until or last_on, last_on) + timedelta(days=1)
    window = Window(max(starts, 0), clock.down(_midnight(ends_on, clock.zone)))
    return (window,) if window.end > window.start else ()


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), tzinfo=zone)
