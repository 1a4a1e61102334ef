"""The shop's setting-up as people look it over: floor editions, the week, people and skills."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from bays.models import Absence, FloorPlanEdition, OpeningHours, ShiftPattern, Technician
from bays.models.people import Weekday

# A skill that ends within this many days is worth a look (common practice, no source).
ENDS_SOON_DAYS = 60


@dataclass(frozen=True)
class SkillLine:
    """A skill somebody holds; ``standing`` is "" (fit), "ends soon", "ended" or "not yet"."""

    name: str
    valid_until: date | None
    standing: str


@dataclass(frozen=True)
class PersonLine:
    technician: Technician
    skills: tuple[SkillLine, ...]
    shifts: tuple[str, ...]


def floor_editions(shop_id: int) -> QuerySet[FloorPlanEdition, Any]:
    """All editions without their drawings, the one in force first."""
    return (
        FloorPlanEdition.objects.for_shop(shop_id)
        .order_by("-number")
        .values("id", "number", "name", "published_at", "published_by")
    )


def week(shop_id: int) -> list[tuple[str, str]]:
    """Monday to Sunday with the hours the shop is open, in words."""
    hours: dict[int, list[str]] = {}
    for row in OpeningHours.objects.for_shop(shop_id).order_by("weekday", "opens"):
        hours.setdefault(row.weekday, []).append(f"{row.opens:%H:%M}–{row.closes:%H:%M}")
    return [(day.label, ", ".join(hours.get(day.value, ["shut"]))) for day in Weekday]


def people_overview(shop_id: int, today: date) -> list[PersonLine]:
    """Every technician, also those out of planning, with skills and shifts in words."""
    found = (
        Technician.objects.for_shop(shop_id)
        .prefetch_related("skills__skill", "shifts")
        .order_by("-active", "name")
    )
    return [
        PersonLine(
            technician=person,
            skills=tuple(
                SkillLine(
                    held.skill.name,
                    held.valid_until,
                    _standing(held.valid_from, held.valid_until, today),
                )
                for held in person.skills.all()
            ),
            shifts=_shifts_in_words(list(person.shifts.all()), today),
        )
        for person in found
    ]


def upcoming_absences(shop_id: int, now: datetime) -> list[Absence]:
    """Absences that have not ended, the next first."""
    return list(
        Absence.objects.for_shop(shop_id)
        .filter(ends_at__gt=now)
        .select_related("technician")
        .order_by("starts_at", "id")
    )


def _standing(valid_from: date | None, valid_until: date | None, today: date) -> str:
    if valid_until is not None and valid_until < today:
        return "ended"
    if valid_from is not None and valid_from > today:
        return "not yet"
    if valid_until is not None and valid_until <= today + timedelta(days=ENDS_SOON_DAYS):
        return "ends soon"
    return ""


def _shifts_in_words(shifts: list[ShiftPattern], today: date) -> tuple[str, ...]:
    """``Mon–Fri 08:00–16:30``: days in a row with the same times said together."""
    counting = [s for s in shifts if s.valid_until is None or s.valid_until >= today]
    days: dict[str, list[int]] = {}
    for shift in sorted(counting, key=lambda s: (s.weekday, s.starts)):
        days.setdefault(_times(shift), []).append(shift.weekday)
    return tuple(f"{_day_words(weekdays)} {times}" for times, weekdays in days.items())


def _times(shift: ShiftPattern) -> str:
    words = f"{shift.starts:%H:%M}–{shift.ends:%H:%M}"
    if shift.lunch_starts and shift.lunch_ends:
        words += f", lunch {shift.lunch_starts:%H:%M}–{shift.lunch_ends:%H:%M}"
    if shift.valid_from:
        words += f", from {shift.valid_from}"
    if shift.valid_until:
        words += f", until {shift.valid_until}"
    return words


def _day_words(weekdays: list[int]) -> str:
    runs: list[list[int]] = []
    for day in weekdays:
        if runs and day == runs[-1][-1] + 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    return ", ".join(
        _short(run[0]) if len(run) == 1 else f"{_short(run[0])}–{_short(run[-1])}" for run in runs
    )


def _short(day: int) -> str:
    return Weekday(day).label[:3]
