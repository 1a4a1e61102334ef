"""Clock changes against published dates, a published reading rule and another reader of the data.

Sources:
- Directive 2000/84/EC, articles 2 and 3: summer time begins at 01:00 Greenwich Mean Time on the
  last Sunday in March and ends at 01:00 on the last Sunday in October.
- Commission communication 2016/C 61/01 (Official Journal C 61, 17.2.2016, page 1): the dates for
  2017 to 2021, each at 01:00 UTC.
- Energy Policy Act of 2005, section 110: second Sunday of March to first Sunday of November; the
  change at 02:00 local time is from the Uniform Time Act, 15 U.S.C. 260a. (From memory.)
- RFC 5545, section 3.3.5: how to read a local time that is skipped or occurs twice, with two
  worked examples in New York.
- python-dateutil, which reads the zone data with code of its own.
"""

from __future__ import annotations

from calendar import SUNDAY, monthcalendar
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz

from bays.hours import ShiftRule, moment_of, shift_spans

NEW_YORK = ZoneInfo("America/New_York")
EU_ZONES = ("Europe/Lisbon", "Europe/Dublin", "Europe/Berlin", "Europe/Athens")
US_ZONES = ("America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles")

# 2016/C 61/01
EU_DATES = [
    (date(2017, 3, 26), date(2017, 10, 29)),
    (date(2018, 3, 25), date(2018, 10, 28)),
    (date(2019, 3, 31), date(2019, 10, 27)),
    (date(2020, 3, 29), date(2020, 10, 25)),
    (date(2021, 3, 28), date(2021, 10, 31)),
]


def sundays(year: int, month: int) -> list[date]:
    weeks = monthcalendar(year, month)
    return [date(year, month, week[SUNDAY]) for week in weeks if week[SUNDAY]]


def minutes_in(day: date, zone: ZoneInfo, starts: time = time(0), ends: time = time(0)) -> int:
    rule = ShiftRule(day.weekday(), starts, ends)
    return sum(span.minutes for span in shift_spans([rule], [], zone, day, day))


@pytest.mark.parametrize(("spring_on", "autumn_on"), EU_DATES)
@pytest.mark.parametrize("name", EU_ZONES)
def test_the_published_european_dates_are_the_short_and_the_long_day(
    name: str, spring_on: date, autumn_on: date
) -> None:
    zone = ZoneInfo(name)
    assert minutes_in(spring_on, zone) == 23 * 60
    assert minutes_in(autumn_on, zone) == 25 * 60
    assert minutes_in(spring_on - timedelta(days=7), zone) == 24 * 60
    assert minutes_in(autumn_on + timedelta(days=7), zone) == 24 * 60


@pytest.mark.parametrize("year", range(2024, 2032))
def test_european_clocks_change_on_the_last_sundays_at_one_utc(year: int) -> None:
    berlin = ZoneInfo("Europe/Berlin")
    for day, before, after in (
        (sundays(year, 3)[-1], timedelta(hours=1), timedelta(hours=2)),
        (sundays(year, 10)[-1], timedelta(hours=2), timedelta(hours=1)),
    ):
        change = datetime.combine(day, time(1), tzinfo=UTC)
        assert (change - timedelta(seconds=1)).astimezone(berlin).utcoffset() == before
        assert change.astimezone(berlin).utcoffset() == after
        # A day's work that starts and ends in wall time shows the change in its length.
        lost = before - after
        assert minutes_in(day, berlin, time(0), time(8)) == 8 * 60 + lost.total_seconds() / 60


@pytest.mark.parametrize("year", range(2007, 2032))
@pytest.mark.parametrize("name", US_ZONES)
def test_american_clocks_change_on_second_sunday_of_march_and_first_of_november(
    name: str, year: int
) -> None:
    zone = ZoneInfo(name)
    spring_on, autumn_on = sundays(year, 3)[1], sundays(year, 11)[0]
    assert minutes_in(spring_on, zone) == 23 * 60
    assert minutes_in(autumn_on, zone) == 25 * 60
    assert minutes_in(spring_on, zone, time(0), time(2)) == 2 * 60
    assert minutes_in(spring_on, zone, time(1), time(3)) == 60
    assert minutes_in(autumn_on, zone, time(0), time(2)) == 3 * 60


def test_the_old_american_rule_holds_before_2007() -> None:
    assert minutes_in(sundays(2006, 4)[0], NEW_YORK) == 23 * 60
    assert minutes_in(sundays(2006, 3)[1], NEW_YORK) == 24 * 60


def test_a_local_time_that_occurs_twice_is_the_first_as_in_rfc_5545() -> None:
    # TZID=America/New_York:20071104T013000 is 1:30 A.M. EDT (UTC-04:00).
    expected = datetime(2007, 11, 4, 5, 30, tzinfo=UTC)
    assert moment_of(date(2007, 11, 4), time(1, 30), NEW_YORK) == expected


def test_a_local_time_that_does_not_occur_takes_the_offset_before_as_in_rfc_5545() -> None:
    # TZID=America/New_York:20070311T023000 is 3:30 A.M. EDT (UTC-04:00).
    expected = datetime(2007, 3, 11, 7, 30, tzinfo=UTC)
    assert moment_of(date(2007, 3, 11), time(2, 30), NEW_YORK) == expected


# Without Dublin, whose winter the data call the daylight-saving part: there dateutil 2.9 reads
# 02:00 on 25 October 2026 as two hours ahead of UTC, when it is none.
COMPARED = ("Europe/Lisbon", "Europe/Berlin", "Europe/Athens", "Australia/Lord_Howe")


@pytest.mark.parametrize("name", [*COMPARED, *US_ZONES, "Asia/Kolkata"])
def test_every_quarter_hour_around_the_changes_agrees_with_dateutil(name: str) -> None:
    zone, other = ZoneInfo(name), tz.gettz(name)
    assert other is not None
    for month, day in ((3, 8), (3, 29), (4, 5), (10, 4), (10, 25), (11, 1)):
        for quarter in range(96):
            wall = datetime(2026, month, day) + timedelta(minutes=15 * quarter)
            theirs = tz.resolve_imaginary(wall.replace(tzinfo=other)).astimezone(UTC)
            assert moment_of(wall.date(), wall.time(), zone) == theirs
