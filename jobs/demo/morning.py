"""Where on earth it is morning: the invented shop sits there, so that there is a day to look at."""

from __future__ import annotations

from datetime import datetime, time
from zoneinfo import ZoneInfo

MORNING = time(8, 40)
ZONES = (
    "Pacific/Honolulu", "America/Anchorage", "America/Los_Angeles", "America/Denver",
    "America/Chicago", "America/New_York", "America/Halifax", "America/Sao_Paulo",
    "America/Noronha", "Atlantic/Azores", "Europe/London", "Europe/Berlin", "Europe/Athens",
    "Africa/Nairobi", "Asia/Dubai", "Asia/Karachi", "Asia/Dhaka", "Asia/Bangkok",
    "Asia/Singapore", "Asia/Tokyo", "Australia/Sydney", "Pacific/Noumea", "Pacific/Auckland",
)  # fmt: skip


def morning_zone(now: datetime) -> str:
    """The zone of the list where the clock is nearest to the start of a working day."""
    return min(ZONES, key=lambda name: _minutes_off(now.astimezone(ZoneInfo(name)).time()))


def _minutes_off(clock: time) -> int:
    away = abs((clock.hour - MORNING.hour) * 60 + clock.minute - MORNING.minute)
    return min(away, 24 * 60 - away)
