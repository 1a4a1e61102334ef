"""Weekly patterns in wall time turned into spans of real time, across clock changes.

A wall time that the clock skips or shows twice is read as RFC 5545, section 3.3.5, says: one
that is skipped counts by the offset before the change (02:30 on a night that jumps from 02:00
to 03:00 is 03:30 by the new clock), and one shown twice is the first of the two. So an evening
that ends in the doubled hour ends early rather than late, and nobody is counted on for an hour
they may not be there. A pattern that this leaves empty or backwards gives no span that day.

A pattern that ends at or before it starts goes on past midnight: 22:00 to 06:00 ends the next
day, and 08:00 to 08:00 lasts a whole day of 23, 24 or 25 hours.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ONE_DAY = timedelta(days=1)


class HoursRefused(ValueError):
    """A pattern or period that contradicts itself; `code` is stable, `says` is for people."""

    def __init__(self, code: str, says: str) -> None:
        super().__init__(says)
        self.code = code
        self.says = says


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """Half-open stretch of real time, aware and in UTC."""

    starts_at: datetime
    ends_at: datetime

    def __post_init__(self) -> None:
        if self.starts_at.tzinfo is None or self.ends_at.tzinfo is None:
            raise HoursRefused("naive_time", "a span needs times with a time zone")
        object.__setattr__(self, "starts_at", self.starts_at.astimezone(UTC))
        object.__setattr__(self, "ends_at", self.ends_at.astimezone(UTC))
        if self.starts_at >= self.ends_at:
            raise HoursRefused("empty_span", "a span has to end after it starts")

    @property
    def minutes(self) -> int:
        return int((self.ends_at - self.starts_at).total_seconds() // 60)


@dataclass(frozen=True, slots=True)
class DayHours:
    """Opening hours of one weekday (0 is Monday); two of them on a day leave a gap between."""

    weekday: int
    opens: time
    closes: time

    def __post_init__(self) -> None:
        _check_weekday(self.weekday)
        _check_wall(self.opens, self.closes)


@dataclass(frozen=True, slots=True)
class Closure:
    """Days the shop is shut, first and last included, from midnight to midnight wall time."""

    starts_on: date
    ends_on: date
    reason: str

    def __post_init__(self) -> None:
        if self.ends_on < self.starts_on:
            raise HoursRefused("closure_backwards", "a closure cannot end before it starts")


@dataclass(frozen=True, slots=True)
class ShiftRule:
    """A weekly shift with its lunch, on days from `valid_from` to `valid_until` inclusive."""

    weekday: int
    starts: time
    ends: time
    lunch_starts: time | None = None
    lunch_ends: time | None = None
    valid_from: date | None = None
    valid_until: date | None = None

    def __post_init__(self) -> None:
        _check_weekday(self.weekday)
        _check_wall(self.starts, self.ends, self.lunch_starts, self.lunch_ends)
        if (self.lunch_starts is None) != (self.lunch_ends is None):
            raise HoursRefused("half_lunch", "a lunch break needs both a start and an end")
        if self.valid_from and self.valid_until and self.valid_until < self.valid_from:
            raise HoursRefused("validity_backwards", "a shift cannot cease before it begins")

    def applies_on(self, day: date) -> bool:
        begun = self.valid_from is None or self.valid_from <= day
        ceased = self.valid_until is not None and day > self.valid_until
        return self.weekday == day.weekday() and begun and not ceased


def opening_spans(
    hours: Iterable[DayHours],
    closures: Iterable[Closure],
    zone: ZoneInfo,
    first_on: date,
    last_on: date,
) -> tuple[Span, ...]:
    """When the shop is open from the start of `first_on` to the end of `last_on`, wall time.

    Spans are sorted, joined where they meet, and cut at the period's edges, so the spans of
    adjoining periods add up. Closures take out whole days, also from hours past midnight.
    """
    week = list(hours)
    spans = [
        span
        for day in _days_with_eve(first_on, last_on)
        for pattern in week
        if pattern.weekday == day.weekday()
        for span in _span(day, pattern.opens, pattern.closes, zone)
    ]
    shut = [
        span
        for closure in closures
        for span in _whole_days(closure.starts_on, closure.ends_on, zone)
    ]
    return _clipped(without(joined(spans), shut), first_on, last_on, zone)


def shift_spans(
    rules: Iterable[ShiftRule],
    absences: Iterable[Span],
    zone: ZoneInfo,
    first_on: date,
    last_on: date,
) -> tuple[Span, ...]:
    """When a person is at work in the period: shifts less lunch and absences.

    A lunch that starts before its shift does belongs to the morning after: 23:00 to 07:00 with
    lunch at 03:00. `valid_from` and `valid_until` concern the day the shift starts.
    """
    week = list(rules)
    spans: list[Span] = []
    for day in _days_with_eve(first_on, last_on):
        for rule in week:
            if rule.applies_on(day):
                shift = list(_span(day, rule.starts, rule.ends, zone))
                spans += without(shift, list(_lunch(day, rule, zone)))
    return _clipped(without(joined(spans), list(absences)), first_on, last_on, zone)


def moment_of(day: date, wall: time, zone: ZoneInfo) -> datetime:
    """A wall time in UTC, read as RFC 5545 does when it is skipped or shown twice.

    `fold=0` in `datetime` (PEP 495) is the same rule: the offset before the change.
    """
    return datetime.combine(day, wall.replace(fold=0, tzinfo=None), tzinfo=zone).astimezone(UTC)


def joined(spans: Iterable[Span]) -> list[Span]:
    """Sorted spans, those that overlap or touch made one."""
    result: list[Span] = []
    for span in sorted(spans):
        if result and span.starts_at <= result[-1].ends_at:
            result[-1] = Span(result[-1].starts_at, max(result[-1].ends_at, span.ends_at))
        else:
            result.append(span)
    return result


def without(spans: Iterable[Span], cuts: Sequence[Span]) -> list[Span]:
    """What is left of the spans outside all cuts."""
    left = list(spans)
    for cut in cuts:
        left = [piece for span in left for piece in _outside(span, cut)]
    return left


def _outside(span: Span, cut: Span) -> Iterator[Span]:
    if cut.ends_at <= span.starts_at or span.ends_at <= cut.starts_at:
        yield span
        return
    if span.starts_at < cut.starts_at:
        yield Span(span.starts_at, cut.starts_at)
    if cut.ends_at < span.ends_at:
        yield Span(cut.ends_at, span.ends_at)


def _span(day: date, starts: time, ends: time, zone: ZoneInfo) -> Iterator[Span]:
    last_day = day if ends > starts else day + ONE_DAY
    starts_at, ends_at = moment_of(day, starts, zone), moment_of(last_day, ends, zone)
    if starts_at < ends_at:
        yield Span(starts_at, ends_at)


def _lunch(day: date, rule: ShiftRule, zone: ZoneInfo) -> Iterator[Span]:
    if rule.lunch_starts is None or rule.lunch_ends is None:
        return
    lunch_day = day if rule.lunch_starts >= rule.starts else day + ONE_DAY
    yield from _span(lunch_day, rule.lunch_starts, rule.lunch_ends, zone)


def _whole_days(first_on: date, last_on: date, zone: ZoneInfo) -> Iterator[Span]:
    yield Span(moment_of(first_on, time.min, zone), moment_of(last_on + ONE_DAY, time.min, zone))


def _days_with_eve(first_on: date, last_on: date) -> Iterator[date]:
    """The period's days and the one before, whose hours may run past midnight into it."""
    if last_on < first_on:
        raise HoursRefused("period_backwards", "a period cannot end before it starts")
    for number in range(-1, (last_on - first_on).days + 1):
        yield first_on + number * ONE_DAY


def _clipped(
    spans: Iterable[Span], first_on: date, last_on: date, zone: ZoneInfo
) -> tuple[Span, ...]:
    (period,) = _whole_days(first_on, last_on, zone)
    return tuple(
        Span(max(span.starts_at, period.starts_at), min(span.ends_at, period.ends_at))
        for span in spans
        if span.starts_at < period.ends_at and period.starts_at < span.ends_at
    )


def _check_weekday(weekday: int) -> None:
    if not 0 <= weekday <= 6:
        raise HoursRefused("weekday", "a weekday is 0 (Monday) to 6 (Sunday)")


def _check_wall(*walls: time | None) -> None:
    if any(wall is not None and wall.tzinfo is not None for wall in walls):
        raise HoursRefused("zoned_wall_time", "wall times carry no time zone of their own")
