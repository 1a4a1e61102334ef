"""From moments to positions. Only elapsed time counts: days of 23 or 25 hours come out right."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from jobs.drawing.page import rounded

LEAST_HOUR_ROOM = 52.0  # below this the labels of neighbouring hours touch


@dataclass(frozen=True)
class Tick:
    x: float
    label: str  # empty where there is no room for words


@dataclass(frozen=True)
class TimeAxis:
    """Maps aware moments between `opens_at` and `closes_at` onto left..left + width."""

    opens_at: datetime
    closes_at: datetime
    zone: ZoneInfo
    left: float
    width: float
    twelve_hour: bool = False

    def __post_init__(self) -> None:
        if self.opens_at.tzinfo is None or self.closes_at.tzinfo is None:
            raise ValueError("a day board needs aware moments")
        if self.minutes <= 0:
            raise ValueError("closing must be after opening")

    @property
    def minutes(self) -> float:
        # Both are taken to UTC first: subtracting two moments of one zone compares wall clocks.
        return (self.closes_at.astimezone(UTC) - self.opens_at.astimezone(UTC)) / timedelta(
            minutes=1
        )

    def x(self, moment: datetime) -> float:
        """Position of a moment, not held to the edges."""
        passed = (moment.astimezone(UTC) - self.opens_at.astimezone(UTC)) / timedelta(minutes=1)
        return rounded(self.left + self.width * passed / self.minutes)

    def held(self, moment: datetime) -> float:
        """Position of a moment, held to the edges of the plot."""
        return min(max(self.x(moment), self.left), self.left + self.width)

    def shows(self, moment: datetime) -> bool:
        return self.opens_at <= moment <= self.closes_at

    def clock(self, moment: datetime) -> str:
        local = moment.astimezone(self.zone)
        if self.twelve_hour:
            return f"{local:%I:%M %p}".lstrip("0").lower()
        return f"{local.hour}:{local.minute:02}"

    def ticks(self) -> tuple[Tick, ...]:
        """One tick at every full hour of the wall clock, a repeated hour named by its zone."""
        hours = self._full_hours()
        room = self.width / max(self.minutes / 60, 1)
        every = 1 if room >= LEAST_HOUR_ROOM else 2 if room * 2 >= LEAST_HOUR_ROOM else 3
        return tuple(
            Tick(self.x(hour), self._hour_label(hour) if nth % every == 0 else "")
            for nth, hour in enumerate(hours)
        )

    def _full_hours(self) -> list[datetime]:
        # Quarter hours, since some zones stand 30 or 45 minutes off the hour of UTC.
        quarter = timedelta(minutes=15)
        start = self.opens_at.astimezone(UTC)
        moment = start.replace(minute=start.minute - start.minute % 15, second=0, microsecond=0)
        found = []
        while moment <= self.closes_at:
            if moment >= self.opens_at and moment.astimezone(self.zone).minute == 0:
                found.append(moment)
            moment += quarter
        return found

    def _hour_label(self, hour: datetime) -> str:
        local = hour.astimezone(self.zone)
        label = f"{local:%I %p}".lstrip("0").lower() if self.twelve_hour else f"{local.hour}:00"
        return f"{label} {local.tzname()}" if local.fold else label
