"""When is a piece of floor free for long enough? From the holds and the opening hours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta

from bays.floor import ZoneId
from bays.hours import Span
from bays.models import Hold, ResourceKind
from bays.selectors.calendar import opening_spans
from shopcal.accounts.models import Shop

# Later than this nobody is told "from then it is empty": the offers say when.
DAYS_AHEAD = 7


@dataclass(frozen=True)
class FreeFloor:
    """Holds of zones, each zone's in order of time, and when the shop is open."""

    held: Mapping[ZoneId, Sequence[Span]]
    open: Sequence[Span]
    until: datetime

    def occupied(self, at: datetime, minutes: int) -> frozenset[ZoneId]:
        """Zones that somebody holds at any time of a stay of so long."""
        leaves = at + timedelta(minutes=minutes)
        return frozenset(
            zone
            for zone, spans in self.held.items()
            if any(span.starts_at < leaves and span.ends_at > at for span in spans)
        )

    def begins(self, at: datetime, minutes: int) -> datetime:
        """The first moment from ``at`` on at which work of so long can begin in opening hours.

        Work too long for any day of the shop begins when it opens. ``at`` itself where the shop is
        not open at all in the days looked at.
        """
        return next(self._beginnings(at, minutes, ()), at)

    def free_from(self, zones: Set[ZoneId], at: datetime, minutes: int) -> datetime | None:
        """From when all of these zones are free together for work of so long, from ``at`` on.

        ``None`` when that is not within the days looked at.
        """
        taken = sorted(span for zone in zones for span in self.held.get(zone, ()))
        return next(self._beginnings(at, minutes, taken), None)

    def _beginnings(self, at: datetime, minutes: int, taken: Sequence[Span]) -> Iterator[datetime]:
        stay = timedelta(minutes=minutes)
        within_a_day = any(span.ends_at - span.starts_at >= stay for span in self.open)
        for span in self.open:
            start = max(at, span.starts_at)
            for other in taken:
                if other.starts_at < start + stay and other.ends_at > start:
                    start = other.ends_at
            ends = start + stay if within_a_day else start + timedelta(minutes=1)
            if ends <= span.ends_at and start < self.until:
                yield start


def free_floor(shop: Shop, at: datetime) -> FreeFloor:
    """The floor of a shop from a moment on, for a week."""
    until = at + timedelta(days=DAYS_AHEAD)
    held: dict[ZoneId, list[Span]] = {}
    rows = (
        Hold.objects.for_shop(shop.pk)
        .filter(resource__kind=ResourceKind.ZONE, ends_at__gt=at, starts_at__lt=until)
        .order_by("starts_at")
        .values_list("resource__code", "starts_at", "ends_at")
    )
    for code, starts_at, ends_at in rows:
        held.setdefault(ZoneId(code), []).append(Span(starts_at, ends_at))
    first, last = (moment.astimezone(shop.zone).date() for moment in (at, until))
    return FreeFloor(held, opening_spans(shop.pk, shop.zone, first, last), until)
