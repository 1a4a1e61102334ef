"""Moments, durations and lengths as people in the shop say them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from bays.floor.words import to_spare
from bays.hours import moment_of
from shopcal.accounts.models import Shop

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class ShopWords:
    """How one shop says times and lengths, as of ``now``."""

    zone: ZoneInfo
    units: str
    now: datetime

    @classmethod
    def of(cls, shop: Shop, now: datetime | None = None) -> ShopWords:
        return cls(shop.zone, shop.units, now or timezone.now())

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def day_of(self, moment: datetime) -> date:
        return moment.astimezone(self.zone).date()

    def clock(self, moment: datetime) -> str:
        """The time of day: ``13:00``."""
        return f"{moment.astimezone(self.zone):%H:%M}"

    def day(self, day: date) -> str:
        """``today``, ``tomorrow``, ``yesterday``, ``Tue 3 Mar``, with the year if another."""
        near = {0: "today", 1: "tomorrow", -1: "yesterday"}.get((day - self.today).days)
        if near:
            return near
        year = f" {day.year}" if day.year != self.today.year else ""
        return f"{day:%a} {day.day} {day:%b}{year}"

    def moment(self, moment: datetime) -> str:
        """``today 13:00``."""
        return f"{self.day(self.day_of(moment))} {self.clock(moment)}"

    def briefly(self, moment: datetime, beside: date) -> str:
        """The time alone where the day is clear from what stands beside it."""
        return self.clock(moment) if self.day_of(moment) == beside else self.moment(moment)

    def spare(self, margin_mm: float) -> str:
        """Room left over, rounded down: ``34 cm to spare``."""
        return to_spare(margin_mm, "us" if self.units == "us" else "metric")

    def floor_size(self, length_mm: float, width_mm: float) -> str:
        """A piece of floor, rounded up to a tenth: ``9.6 × 6.1 m``."""
        unit, name = (MM_PER_INCH * 12, "ft") if self.units == "us" else (1000.0, "m")
        length, width = (math.ceil(mm / unit * 10 - 1e-6) / 10 for mm in (length_mm, width_mm))
        return f"{length:.1f} × {width:.1f} {name}"

    def vehicle_size(self, length_mm: float, width_mm: float) -> str:
        """Length and width of a vehicle: ``5.36 × 2.03 m``."""
        if self.units == "us":
            length, width = (round(mm / MM_PER_INCH) for mm in (length_mm, width_mm))
            return f"{length} × {width} in"
        return f"{length_mm / 1000:.2f} × {width_mm / 1000:.2f} m"

    def parse(self, text: str) -> datetime:
        """A moment from a date-and-time field, which is wall time in the shop.

        Raises:
            ValueError: not a date and a time.
        """
        wall = datetime.fromisoformat(text.strip())
        return moment_of(wall.date(), wall.time(), self.zone)

    def field_value(self, moment: datetime) -> str:
        """A moment for a date-and-time field."""
        return f"{moment.astimezone(self.zone):%Y-%m-%dT%H:%M}"

    def day_span(self, day: date) -> tuple[datetime, datetime]:
        """The shop's midnights around a day, in UTC."""
        first = moment_of(day, time(), self.zone)
        return first, moment_of(day + timedelta(days=1), time(), self.zone)


def duration(minutes: int) -> str:
    """``45 min``, ``2 h``, ``2 h 25 min``."""
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def listed(names: list[str] | tuple[str, ...]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def counted(number: int, one: str, many: str) -> str:
    """``one calibration``, ``two calibrations``, ``12 calibrations``."""
    word = COUNTS[number] if number < len(COUNTS) else str(number)
    return f"{word} {one if number == 1 else many}"
