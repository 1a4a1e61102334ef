"""How many left, day by day, on the shop's own calendar."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True)
class DayCount:
    on: date
    count: int


def per_day(
    moments: Iterable[datetime], zone: ZoneInfo, first_on: date, last_on: date
) -> tuple[DayCount, ...]:
    """How many of these moments fall on each shop day, both ends included, empty days too."""
    counts = Counter(moment.astimezone(zone).date() for moment in moments)
    days = (last_on - first_on).days + 1
    return tuple(
        DayCount(on, counts[on]) for on in (first_on + timedelta(days=n) for n in range(days))
    )


def week_of(day: date) -> tuple[date, date]:
    """Monday and Sunday of a day's week (ISO 8601)."""
    monday = day - timedelta(days=day.weekday())
    return monday, monday + timedelta(days=6)
