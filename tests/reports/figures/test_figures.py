"""The pure figures: promises, first time through, causes, days, use."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from reports.figures import (
    Attempted,
    Concluded,
    Promise,
    Span,
    causes_of_rework,
    first_time_through,
    keeping,
    per_day,
    share_of,
    use_of,
    week_of,
)

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def test_a_promise_is_kept_to_the_minute() -> None:
    kept = keeping([Promise(NOON, NOON), Promise(NOON, NOON + timedelta(seconds=1))], NOON + HOUR)
    assert (kept.hits, kept.cases) == (1, 2)


def test_a_promise_past_its_time_and_not_ready_is_broken_already() -> None:
    assert keeping([Promise(NOON, None)], NOON).says == "0 of 1 (0 %)"


def test_a_promise_still_ahead_counts_only_once_the_vehicle_is_ready() -> None:
    ahead = NOON + HOUR
    assert keeping([Promise(ahead, None)], NOON).cases == 0
    assert keeping([Promise(ahead, NOON)], NOON).hits == 1


def test_first_time_through_wants_one_attempt_verified_and_no_return() -> None:
    share = first_time_through(
        [
            Concluded(verified=True, attempts=1),
            Concluded(verified=True, attempts=2),  # a second attempt is rework
            Concluded(verified=False, attempts=1),  # left failed
            Concluded(verified=True, attempts=1, returned=True),  # back for the same system
        ]
    )
    assert share.says == "1 of 4 (25 %)"


def test_causes_are_told_apart_by_their_words_most_frequent_first() -> None:
    rows = [
        Attempted("battery voltage dropped", 10),
        Attempted("Light behind  the target", 20),
        Attempted("light behind the target", 15),
        Attempted(" ", 5),
    ]
    found = causes_of_rework(rows)
    assert [(c.cause, c.count, c.minutes) for c in found] == [
        ("Light behind the target", 2, 35),
        ("battery voltage dropped", 1, 10),
        ("no cause written down", 1, 5),
    ]


def test_few_cases_come_with_a_caution_and_none_with_no_number() -> None:
    assert "8 cases say little" in share_of(7, 8).caution
    assert share_of(0, 0).value is None
    assert share_of(0, 0).says == "nothing to count yet"
    assert share_of(190, 200).caution == ""


@pytest.mark.parametrize(("hits", "cases"), [(-1, 3), (4, 3)])
def test_a_share_that_cannot_be_is_refused(hits: int, cases: int) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        share_of(hits, cases)


def test_days_are_the_shops_and_empty_ones_are_listed() -> None:
    late = datetime(2026, 11, 26, 3, tzinfo=UTC)  # still the 25th in Chicago
    days = per_day([late], ZoneInfo("America/Chicago"), date(2026, 11, 24), date(2026, 11, 26))
    assert [(d.on.day, d.count) for d in days] == [(24, 0), (25, 1), (26, 0)]


def test_a_week_runs_from_monday_to_sunday() -> None:
    assert week_of(date(2026, 11, 29)) == (date(2026, 11, 23), date(2026, 11, 29))


def test_overlapping_holds_count_once_and_outside_hours_apart() -> None:
    opened = [Span(NOON, NOON + 2 * HOUR)]
    held = [Span(NOON + HOUR, NOON + 3 * HOUR), Span(NOON + HOUR, NOON + 2 * HOUR)]
    use = use_of("Bay 1", held, opened)
    assert use.says == "1 h of 2 h (50 %), 1 h outside"


def test_a_bay_on_a_day_that_is_shut_has_no_share() -> None:
    assert use_of("Bay 1", [], []).share is None
    assert use_of("Bay 1", [], []).says == "not open"


def test_use_on_the_night_the_clock_goes_back_counts_real_hours() -> None:
    zone = ZoneInfo("America/Chicago")
    night = Span(
        datetime(2026, 11, 1, 0, tzinfo=zone).astimezone(UTC),
        datetime(2026, 11, 1, 6, tzinfo=zone).astimezone(UTC),
    )
    assert use_of("Bay 1", [night], [night]).open_minutes == 7 * 60
