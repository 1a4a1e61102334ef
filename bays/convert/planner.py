"""Times and ids between rows and the planner, which counts whole minutes on a five-minute grid."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from bays.hours import Span
from bays.models import ResourceKind
from bays.planner import GRID_MINUTES, Window


@dataclass(frozen=True)
class Clock:
    """Turns aware datetimes into minutes since ``origin`` and back, by elapsed time."""

    origin: datetime
    zone: ZoneInfo

    @classmethod
    def from_day(cls, day: date, zone: ZoneInfo) -> Clock:
        """A clock whose minute 0 is the shop's midnight of that day."""
        return cls(origin=datetime(day.year, day.month, day.day, tzinfo=zone), zone=zone)

    def down(self, moment: datetime) -> int:
        """The grid minute at or before the moment."""
        return int(self._minutes(moment) // GRID_MINUTES) * GRID_MINUTES

    def up(self, moment: datetime) -> int:
        """The grid minute at or after the moment."""
        return -int(-self._minutes(moment) // GRID_MINUTES) * GRID_MINUTES

    def moment(self, minute: int) -> datetime:
        return self.origin.astimezone(UTC) + timedelta(minutes=minute)

    def inside(self, span: Span) -> Window:
        """The grid window wholly inside a span of working time."""
        return Window(self.up(span.starts_at), self.down(span.ends_at))

    def around(self, starts_at: datetime, ends_at: datetime) -> Window:
        """The grid window that covers a span of unavailable time."""
        return Window(self.down(starts_at), self.up(ends_at))

    def _minutes(self, moment: datetime) -> float:
        return (moment - self.origin.astimezone(UTC)).total_seconds() / 60


def windows_inside(clock: Clock, spans: Iterable[Span]) -> tuple[Window, ...]:
    """Working windows from the clock's origin on, empty ones dropped."""
    found = (clock.inside(span) for span in spans)
    return tuple(Window(max(w.start, 0), w.end) for w in found if w.end > max(w.start, 0))


def resource_key(kind: str, code: str) -> str:
    """The planner's id of a resource: unlike codes, never the same for a zone and a person."""
    return f"{kind}:{code}"


def zone_key(code: str) -> str:
    return resource_key(ResourceKind.ZONE, code)


def person_key(code: str) -> str:
    return resource_key(ResourceKind.PERSON, code)


def unit_key(code: str) -> str:
    return resource_key(ResourceKind.UNIT, code)


def code_of(key: str) -> str:
    """The resource's own code within its kind."""
    return key.split(":", 1)[1]
