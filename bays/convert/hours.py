"""Hours, shifts and absences as rows to the pure patterns of ``bays.hours``."""

from __future__ import annotations

from collections.abc import Iterable

from bays import hours
from bays.models import Absence, Closure, OpeningHours, ShiftPattern


def day_hours(rows: Iterable[OpeningHours]) -> tuple[hours.DayHours, ...]:
    return tuple(hours.DayHours(weekday=r.weekday, opens=r.opens, closes=r.closes) for r in rows)


def closures(rows: Iterable[Closure]) -> tuple[hours.Closure, ...]:
    return tuple(
        hours.Closure(starts_on=r.starts_on, ends_on=r.ends_on, reason=r.reason) for r in rows
    )


def shift_rules(rows: Iterable[ShiftPattern]) -> tuple[hours.ShiftRule, ...]:
    return tuple(
        hours.ShiftRule(
            weekday=r.weekday,
            starts=r.starts,
            ends=r.ends,
            lunch_starts=r.lunch_starts,
            lunch_ends=r.lunch_ends,
            valid_from=r.valid_from,
            valid_until=r.valid_until,
        )
        for r in rows
    )


def absence_spans(rows: Iterable[Absence]) -> tuple[hours.Span, ...]:
    return tuple(hours.Span(starts_at=r.starts_at, ends_at=r.ends_at) for r in rows)
