"""A moment as the shop's own clock tells it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from zoneinfo import ZoneInfo

NEAR_DAYS = {0: "", 1: "tomorrow ", -1: "yesterday "}


def shop_clock(zone: ZoneInfo, now: datetime) -> Callable[[datetime], str]:
    """ "14:10" today, "tomorrow 08:00", "Thu 5 Mar 08:00", with the year if it is another."""
    today = now.astimezone(zone).date()

    def said(moment: datetime) -> str:
        wall = moment.astimezone(zone)
        near = NEAR_DAYS.get((wall.date() - today).days)
        if near is None:
            year = f" {wall.year}" if wall.year != today.year else ""
            near = f"{wall:%a} {wall.day} {wall:%b}{year} "
        return f"{near}{wall:%H:%M}"

    return said
