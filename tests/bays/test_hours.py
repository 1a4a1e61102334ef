"""Wall-time patterns as spans of real time."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bays.hours import (
    Closure,
    DayHours,
    HoursRefused,
    ShiftRule,
    Span,
    opening_spans,
    shift_spans,
)

BERLIN = ZoneInfo("Europe/Berlin")
MONDAY = date(2026, 3, 2)
SPRING = date(2026, 3, 29)  # a Sunday, 23 hours long in Berlin
AUTUMN = date(2026, 10, 25)  # a Sunday, 25 hours long in Berlin
SUNDAY = 6


def wall(span: Span, zone: ZoneInfo = BERLIN) -> str:
    starts, ends = span.starts_at.astimezone(zone), span.ends_at.astimezone(zone)
    return f"{starts:%d %H:%M}-{ends:%d %H:%M}"


def shift(starts: str, ends: str, day: date) -> list[Span]:
    rule = ShiftRule(day.weekday(), time.fromisoformat(starts), time.fromisoformat(ends))
    return list(shift_spans([rule], [], BERLIN, day, day))


def test_a_winter_and_a_summer_day_open_at_the_same_wall_time() -> None:
    hours = [DayHours(weekday, time(8), time(18)) for weekday in range(5)]
    winter, summer = (
        opening_spans(hours, [], BERLIN, day, day)[0] for day in (MONDAY, date(2026, 7, 6))
    )
    assert winter.starts_at == datetime(2026, 3, 2, 7, tzinfo=UTC)
    assert summer.starts_at == datetime(2026, 7, 6, 6, tzinfo=UTC)
    assert winter.minutes == summer.minutes == 600


def test_a_whole_day_lasts_23_hours_in_spring_and_25_in_autumn() -> None:
    assert [span.minutes for span in shift("00:00", "00:00", SPRING)] == [23 * 60]
    assert [span.minutes for span in shift("00:00", "00:00", AUTUMN)] == [25 * 60]
    assert [span.minutes for span in shift("00:00", "00:00", MONDAY)] == [24 * 60]


def test_a_shift_across_the_skipped_hour_is_an_hour_shorter() -> None:
    assert [span.minutes for span in shift("01:00", "05:00", SPRING)] == [3 * 60]


def test_a_shift_across_the_doubled_hour_is_an_hour_longer() -> None:
    assert [span.minutes for span in shift("01:00", "05:00", AUTUMN)] == [5 * 60]


def test_a_skipped_start_counts_by_the_offset_before_the_change() -> None:
    assert [wall(span) for span in shift("02:30", "06:00", SPRING)] == ["29 03:30-29 06:00"]


def test_a_doubled_end_is_the_first_of_the_two() -> None:
    (span,) = shift("00:00", "02:30", AUTUMN)
    assert span.ends_at == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def test_a_pattern_the_change_leaves_backwards_gives_no_span() -> None:
    assert shift("02:30", "03:00", SPRING) == []


def test_lunch_is_a_gap_and_absences_cut() -> None:
    rule = ShiftRule(0, time(8), time(17), time(12), time(12, 30))
    away = Span(datetime(2026, 3, 2, 15, tzinfo=BERLIN), datetime(2026, 3, 3, 0, tzinfo=BERLIN))
    spans = shift_spans([rule], [away], BERLIN, MONDAY, MONDAY)
    assert [wall(span) for span in spans] == ["02 08:00-02 12:00", "02 12:30-02 15:00"]


def test_a_night_shift_runs_on_into_the_next_day_with_its_lunch() -> None:
    rule = ShiftRule(0, time(22), time(6), time(2), time(2, 30))
    spans = shift_spans([rule], [], BERLIN, MONDAY, MONDAY + timedelta(days=1))
    assert [wall(span) for span in spans] == ["02 22:00-03 02:00", "03 02:30-03 06:00"]


def test_a_rule_holds_only_while_it_is_valid() -> None:
    rule = ShiftRule(
        0, time(8), time(9), valid_from=date(2026, 3, 9), valid_until=date(2026, 3, 16)
    )
    spans = shift_spans([rule], [], BERLIN, MONDAY, date(2026, 3, 31))
    assert [span.starts_at.date() for span in spans] == [date(2026, 3, 9), date(2026, 3, 16)]


def test_a_closure_takes_out_its_first_and_last_day() -> None:
    hours = [DayHours(weekday, time(8), time(18)) for weekday in range(7)]
    closure = Closure(date(2026, 3, 3), date(2026, 3, 4), "stocktaking")
    spans = opening_spans(hours, [closure], BERLIN, MONDAY, date(2026, 3, 5))
    assert [wall(span) for span in spans] == ["02 08:00-02 18:00", "05 08:00-05 18:00"]


def test_hours_past_midnight_stop_at_a_closure() -> None:
    hours = [DayHours(0, time(18), time(2))]
    closure = Closure(date(2026, 3, 3), date(2026, 3, 3), "stocktaking")
    spans = opening_spans(hours, [closure], BERLIN, MONDAY, date(2026, 3, 5))
    assert [wall(span) for span in spans] == ["02 18:00-03 00:00"]


def test_two_openings_on_a_day_that_touch_are_one() -> None:
    hours = [DayHours(0, time(13), time(18)), DayHours(0, time(8), time(13))]
    spans = opening_spans(hours, [], BERLIN, MONDAY, MONDAY)
    assert [wall(span) for span in spans] == ["02 08:00-02 18:00"]


@given(
    st.lists(st.builds(DayHours, st.integers(0, 6), st.times(), st.times()), max_size=6),
    st.integers(0, 20),
    st.integers(1, 20),
    st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"]),
)
def test_adjoining_periods_add_up_and_spans_never_overlap(
    hours: list[DayHours], first: int, second: int, name: str
) -> None:
    zone, start = ZoneInfo(name), date(2026, 3, 20)
    middle, end = start + timedelta(days=first), start + timedelta(days=first + second)
    whole = opening_spans(hours, [], zone, start, end)
    parts = (
        *opening_spans(hours, [], zone, start, middle),
        *opening_spans(hours, [], zone, middle + timedelta(days=1), end),
    )
    assert sum((s.ends_at - s.starts_at for s in whole), timedelta()) == sum(
        (s.ends_at - s.starts_at for s in parts), timedelta()
    )
    assert all(a.ends_at < b.starts_at for a, b in pairwise(whole))


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: DayHours(7, time(8), time(9)), "weekday"),
        (lambda: DayHours(0, time(8, tzinfo=UTC), time(9)), "zoned_wall_time"),
        (lambda: Closure(date(2026, 3, 2), date(2026, 3, 1), ""), "closure_backwards"),
        (lambda: ShiftRule(0, time(8), time(9), lunch_starts=time(8, 30)), "half_lunch"),
        (lambda: Span(datetime(2026, 3, 2), datetime(2026, 3, 3)), "naive_time"),
        (
            lambda: Span(datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 2, tzinfo=UTC)),
            "empty_span",
        ),
        (
            lambda: opening_spans([], [], BERLIN, date(2026, 3, 2), MONDAY - timedelta(1)),
            "period_backwards",
        ),
    ],
)
def test_contradictions_are_refused_with_a_code(make: object, code: str) -> None:
    with pytest.raises(HoursRefused) as refused:
        make()  # type: ignore[operator]
    assert refused.value.code == code
