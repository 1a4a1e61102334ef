"""From when a unit may not be held, and when its upkeep will probably fall due."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from bays.upkeep.rules import History, Rule, UpkeepRefused, due_date


def unfit_from(rules: Iterable[Rule], history: History, zone: ZoneInfo) -> datetime | None:
    """The first moment (UTC) at which the unit may not be held; None if no rule ends it.

    By days: the start of the day after the due day in the shop's time zone. By uses already
    used up: the start of the day of the last upkeep, since a count does not tell the moment.
    Uses that bookings will add are not counted here; see `forecast`.

    One history answers for every rule given: what was done counts for each of them. Rules
    kept apart (a cleaning is no inspection) are asked one by one, each with its own history,
    and the earliest moment counts.
    """
    last = history.last()
    moments: list[datetime] = []
    for rule in rules:
        if rule.every_uses is not None and history.uses_now - last.uses_at >= rule.every_uses:
            moments.append(start_of_day(last.on, zone))
        due_on = due_date(rule, last)
        if due_on is not None and due_on < date.max:
            moments.append(start_of_day(due_on + timedelta(days=1), zone))
    return min(moments, default=None)


def start_of_day(day: date, zone: ZoneInfo) -> datetime:
    """The first moment of a day in UTC.

    Where clocks go forward at midnight there is no 00:00: fold 0 reads it with the offset
    before the change (PEP 495), which is the very moment of the change. Where 00:00 comes
    twice, fold 0 is the first.
    """
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def forecast(rule: Rule, history: History, today: date, uses_per_day: float) -> date | None:
    """The last day the unit will probably be fit: the calendar's, or the day uses run out.

    The uses are spread evenly from `today`, at `uses_per_day`. None if nothing ends it.

    Raises:
        UpkeepRefused: a rate that is negative or no number.
    """
    if not math.isfinite(uses_per_day) or uses_per_day < 0:
        right = "0 or more uses a day"
        raise UpkeepRefused("rate", f"{uses_per_day} uses a day cannot be", right)
    last = history.last(today)
    days = [day for day in (due_date(rule, last),) if day is not None]
    if rule.every_uses is not None:
        left = rule.every_uses - (history.uses_now - last.uses_at)
        ahead = _days_ahead(left, uses_per_day, today)
        if ahead is not None:
            days.append(today + timedelta(days=ahead))
    return min(days, default=None)


def _days_ahead(uses_left: int, uses_per_day: float, today: date) -> int | None:
    if uses_left <= 0:
        return 0
    limit = (date.max - today).days
    # Compared before dividing: a tiny rate would overflow.
    if uses_per_day == 0 or uses_left > limit * uses_per_day:
        return None
    return math.floor(uses_left / uses_per_day)


def uses_per_day(history: History, today: date) -> float:
    """Mean uses a calendar day since commissioning, the commissioning day included."""
    days = (today - history.commissioned_on).days + 1
    return history.uses_now / days if days > 0 else 0.0
