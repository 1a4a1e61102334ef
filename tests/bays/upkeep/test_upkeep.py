"""Upkeep: where a unit stands, from when it may not be held, when it will fall due."""

import math
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given
from hypothesis import strategies as st

from bays.upkeep import (
    Done,
    DueState,
    History,
    Rule,
    UpkeepRefused,
    forecast,
    status,
    unfit_from,
    uses_per_day,
)
from bays.upkeep.forecast import start_of_day

NEW_YORK = ZoneInfo("America/New_York")
YEARLY = Rule("insp", "inspection", every_days=365, every_uses=None)
MONTHLY = Rule("clean", "cleaning", every_days=30, every_uses=None)
HUNDRED = Rule("cal", "comparison", every_days=None, every_uses=100, warn_uses=20)


def since(day: date, *done: Done, uses_now: int = 0) -> History:
    return History(day, done, uses_now)


@pytest.mark.parametrize(
    ("today", "state", "says"),
    # Commissioned 1 January 2026, every 30 days: due 31 January 2026.
    [
        (date(2026, 1, 16), DueState.FIT, "cleaning due on 31 January"),
        (date(2026, 1, 17), DueState.DUE_SOON, "cleaning due in 14 days"),
        (date(2026, 1, 26), DueState.DUE_SOON, "cleaning due in 5 days"),
        (date(2026, 1, 30), DueState.DUE_SOON, "cleaning due tomorrow"),
        (date(2026, 1, 31), DueState.DUE_SOON, "cleaning due today"),
        (date(2026, 2, 1), DueState.OVERDUE, "cleaning overdue since 1 February"),
        (date(2027, 2, 1), DueState.OVERDUE, "cleaning overdue since 1 February 2026"),
    ],
)
def test_status_by_days_in_words(today, state, says):
    due = status(MONTHLY, since(date(2026, 1, 1)), today)
    assert (due.state, due.due_on, due.uses_left, due.says) == (
        state,
        date(2026, 1, 31),
        None,
        says,
    )


@pytest.mark.parametrize(
    ("uses_now", "state", "left", "says"),
    [
        (79, DueState.FIT, 21, "comparison 21 uses left"),
        (80, DueState.DUE_SOON, 20, "comparison 20 uses left"),
        (99, DueState.DUE_SOON, 1, "comparison 1 use left"),
        (100, DueState.OVERDUE, 0, "comparison overdue: no uses left"),
        (103, DueState.OVERDUE, 0, "comparison overdue: no uses left, 3 uses too many"),
    ],
)
def test_status_by_uses_in_words(uses_now, state, left, says):
    due = status(HUNDRED, since(date(2026, 1, 1), uses_now=uses_now), date(2026, 6, 1))
    assert (due.state, due.due_on, due.uses_left, due.says) == (state, None, left, says)


def test_whichever_ends_first_counts_and_is_told_first():
    rule = Rule("both", "inspection", every_days=30, every_uses=10, warn_days=5)
    history = since(date(2026, 1, 1), uses_now=10)
    due = status(rule, history, date(2026, 1, 2))
    assert due.state is DueState.OVERDUE
    assert due.says == "inspection overdue: no uses left, due on 31 January"


def test_upkeep_starts_the_count_of_days_and_uses_again():
    rule = Rule("both", "inspection", every_days=30, every_uses=10)
    history = since(date(2026, 1, 1), Done(date(2026, 1, 20), 9), uses_now=12)
    due = status(rule, history, date(2026, 1, 20))
    assert (due.due_on, due.uses_left) == (date(2026, 2, 19), 7)


def test_upkeep_dated_in_the_future_does_not_count():
    history = since(date(2026, 1, 1), Done(date(2026, 3, 1), 0))
    assert status(MONTHLY, history, date(2026, 2, 5)).state is DueState.OVERDUE


@pytest.mark.parametrize(
    ("start", "days", "due_on"),
    # Counted on a wall calendar; 2028 is a leap year, 2100 is none (Gregorian rule).
    [
        (date(2028, 2, 28), 1, date(2028, 2, 29)),
        (date(2026, 2, 28), 1, date(2026, 3, 1)),
        (date(2028, 2, 29), 365, date(2029, 2, 28)),
        (date(2027, 3, 1), 366, date(2028, 3, 1)),
        (date(2100, 2, 28), 1, date(2100, 3, 1)),
        (date(2026, 1, 31), 30, date(2026, 3, 2)),
        (date(2026, 4, 30), 31, date(2026, 5, 31)),
    ],
)
def test_leap_years_and_lengths_of_months(start, days, due_on):
    rule = Rule("r", "inspection", every_days=days, every_uses=None)
    assert status(rule, since(start), start).due_on == due_on


def test_unit_may_not_be_held_from_the_start_of_the_day_after_in_the_shops_time_zone():
    # Due 31 January; New York is 5 hours behind UTC in winter (tz database).
    history = since(date(2026, 1, 1))
    assert unfit_from([MONTHLY], history, NEW_YORK) == datetime(2026, 2, 1, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("commissioned_on", "hour"),
    # Clocks went forward on Sunday 8 March 2026 at 02:00: the Sunday starts at 05:00 UTC,
    # the Monday at 04:00 UTC (US Energy Policy Act of 2005: second Sunday in March).
    [(date(2026, 2, 5), 5), (date(2026, 2, 6), 4)],
)
def test_unfit_moment_moves_with_daylight_saving(commissioned_on, hour):
    found = unfit_from([MONTHLY], since(commissioned_on), NEW_YORK)
    assert found is not None
    assert found.hour == hour
    assert found.astimezone(NEW_YORK).hour == 0


def test_day_without_midnight_starts_at_the_change():
    # Brazil went to summer time at 00:00 on 4 November 2018; that day began at 01:00.
    found = start_of_day(date(2018, 11, 4), ZoneInfo("America/Sao_Paulo"))
    assert found == datetime(2018, 11, 4, 3, tzinfo=UTC)


def test_day_with_two_midnights_starts_at_the_first():
    # Cuba goes back from 01:00 to 00:00 on the first Sunday in November (tz database).
    found = start_of_day(date(2026, 11, 1), ZoneInfo("America/Havana"))
    assert found == datetime(2026, 11, 1, 4, tzinfo=UTC)


@given(
    st.dates(date(1990, 1, 1), date(2035, 12, 30)),
    st.sampled_from(["America/New_York", "Europe/London", "America/Sao_Paulo", "Asia/Beirut"]),
)
def test_start_of_day_agrees_with_dateutil(day, name):
    """dateutil.tz, a time zone library of its own with its own reading of the tz database."""
    naive = datetime(day.year, day.month, day.day, tzinfo=tz.gettz(name))
    assert start_of_day(day, ZoneInfo(name)) == tz.resolve_imaginary(naive).astimezone(UTC)


def test_earliest_rule_ends_the_unit_and_none_leaves_it_open():
    history = since(date(2026, 1, 1), uses_now=5)
    assert unfit_from([YEARLY, MONTHLY], history, NEW_YORK) == unfit_from(
        [MONTHLY], history, NEW_YORK
    )
    assert unfit_from([HUNDRED], history, NEW_YORK) is None
    assert unfit_from([], history, NEW_YORK) is None


def test_unit_without_uses_left_may_not_be_held_at_all():
    history = since(date(2026, 1, 1), Done(date(2026, 2, 1), 0), uses_now=100)
    assert unfit_from([HUNDRED], history, NEW_YORK) == datetime(2026, 2, 1, 5, tzinfo=UTC)


@given(
    st.dates(date(2000, 1, 1), date(2035, 12, 31)),
    st.integers(1, 800),
    st.integers(0, 900),
)
def test_unit_is_overdue_exactly_from_the_unfit_moment(start, every_days, later):
    rule = Rule("r", "inspection", every_days=every_days, every_uses=None)
    history = since(start)
    moment = unfit_from([rule], history, NEW_YORK)
    assert moment is not None
    today = start + timedelta(days=later)
    overdue = status(rule, history, today).state is DueState.OVERDUE
    assert overdue == (start_of_day(today, NEW_YORK) >= moment)


@pytest.mark.parametrize(
    ("uses_now", "rate", "due_on"),
    # 40 left at 4 a day last 10 days; at 3 a day 13 whole days; at none for ever.
    [
        (60, 4.0, date(2026, 6, 11)),
        (60, 3.0, date(2026, 6, 14)),
        (60, 100.0, date(2026, 6, 1)),
        (100, 4.0, date(2026, 6, 1)),
        (60, 0.0, None),
        (60, 1e-300, None),
    ],
)
def test_forecast_spreads_the_uses_left(uses_now, rate, due_on):
    history = since(date(2026, 1, 1), uses_now=uses_now)
    assert forecast(HUNDRED, history, date(2026, 6, 1), rate) == due_on


def test_forecast_takes_the_calendar_where_it_ends_first():
    rule = Rule("both", "inspection", every_days=30, every_uses=10)
    history = since(date(2026, 1, 1))
    assert forecast(rule, history, date(2026, 1, 1), 0.1) == date(2026, 1, 31)
    assert forecast(rule, history, date(2026, 1, 1), 1.0) == date(2026, 1, 11)


@pytest.mark.parametrize("rate", [-1.0, math.nan, math.inf])
def test_rate_that_cannot_be_is_refused(rate):
    with pytest.raises(UpkeepRefused):
        forecast(HUNDRED, since(date(2026, 1, 1)), date(2026, 6, 1), rate)


def test_mean_rate_counts_the_commissioning_day():
    assert uses_per_day(since(date(2026, 1, 1), uses_now=30), date(2026, 1, 10)) == 3.0


def test_interval_beyond_the_calendar_never_falls_due():
    rule = Rule("r", "inspection", every_days=10**9, every_uses=10)
    history = since(date(2026, 1, 1))
    assert status(rule, history, date(2026, 1, 1)).due_on is None
    assert unfit_from([rule], history, NEW_YORK) is None


@pytest.mark.parametrize(
    ("days", "uses", "warn"), [(None, None, 0), (0, None, 0), (None, -5, 0), (10, None, -1)]
)
def test_rule_that_cannot_be_is_refused(days, uses, warn):
    with pytest.raises(UpkeepRefused):
        Rule("r", "inspection", every_days=days, every_uses=uses, warn_days=warn)


@pytest.mark.parametrize(
    ("done", "uses_now"),
    [
        ((Done(date(2025, 12, 31), 0),), 0),
        ((Done(date(2026, 2, 1), 9),), 8),
        ((Done(date(2026, 2, 1), 9), Done(date(2026, 3, 1), 4)), 10),
        ((), -1),
    ],
)
def test_history_that_contradicts_itself_is_refused(done, uses_now):
    with pytest.raises(UpkeepRefused):
        since(date(2026, 1, 1), *done, uses_now=uses_now)
