"""Times and lengths in words, across days, years and clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from jobs.pages.moments import ShopWords, counted, duration, listed

CHICAGO = ZoneInfo("America/Chicago")


@pytest.fixture
def words() -> ShopWords:
    return ShopWords(CHICAGO, "metric", datetime(2026, 3, 3, 14, 30, tzinfo=UTC))


@pytest.mark.parametrize(
    ("moment", "says"),
    [
        (datetime(2026, 3, 3, 19, 0, tzinfo=UTC), "today 13:00"),
        (datetime(2026, 3, 4, 5, 59, tzinfo=UTC), "today 23:59"),
        (datetime(2026, 3, 4, 14, 0, tzinfo=UTC), "tomorrow 08:00"),
        (datetime(2026, 3, 2, 14, 0, tzinfo=UTC), "yesterday 08:00"),
        (datetime(2026, 3, 5, 14, 0, tzinfo=UTC), "Thu 5 Mar 08:00"),
        # Clocks go forward on 8 March 2026: 13:00 UTC is 08:00 from then on.
        (datetime(2026, 3, 9, 13, 0, tzinfo=UTC), "Mon 9 Mar 08:00"),
        (datetime(2027, 1, 4, 14, 0, tzinfo=UTC), "Mon 4 Jan 2027 08:00"),
    ],
)
def test_moment_is_told_by_day_and_shop_clock(
    words: ShopWords, moment: datetime, says: str
) -> None:
    assert words.moment(moment) == says


def test_time_alone_where_the_day_is_clear(words: ShopWords) -> None:
    at = datetime(2026, 3, 4, 14, 0, tzinfo=UTC)
    assert words.briefly(at, date(2026, 3, 4)) == "08:00"
    assert words.briefly(at, date(2026, 3, 3)) == "tomorrow 08:00"


def test_field_gives_back_the_moment_it_was_filled_with(words: ShopWords) -> None:
    at = datetime(2026, 7, 1, 20, 15, tzinfo=UTC)
    assert words.parse(words.field_value(at)) == at


def test_wall_time_that_the_clock_skips_is_read_by_the_offset_before(words: ShopWords) -> None:
    # RFC 5545, section 3.3.5: 02:30 does not exist that night and is 03:30 by the new clock.
    assert words.parse("2026-03-08T02:30") == datetime(2026, 3, 8, 8, 30, tzinfo=UTC)


def test_nonsense_is_no_moment(words: ShopWords) -> None:
    with pytest.raises(ValueError, match="Invalid isoformat"):
        words.parse("this afternoon")


def test_room_to_spare_is_never_said_too_large(words: ShopWords) -> None:
    assert words.spare(349.9) == "34 cm to spare"
    us = ShopWords(CHICAGO, "us", words.now)
    assert us.spare(349.9) == "13 in to spare"


def test_floor_needed_is_never_said_too_small(words: ShopWords) -> None:
    assert words.floor_size(9510, 6100) == "9.6 × 6.1 m"
    us = ShopWords(CHICAGO, "us", words.now)
    assert us.floor_size(3048, 3049) == "10.0 × 10.1 ft"


def test_durations_and_counts_in_words() -> None:
    assert [duration(m) for m in (0, 45, 120, 145)] == ["0 min", "45 min", "2 h", "2 h 25 min"]
    assert counted(1, "calibration", "calibrations") == "one calibration"
    assert counted(12, "calibration", "calibrations") == "12 calibrations"
    assert listed(["a", "b", "c"]) == "a, b and c"
