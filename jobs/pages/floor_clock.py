"""The day and minute a floor page shows, and the slider over the hours the shop is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from urllib.parse import urlencode

from django.http import QueryDict

from bays.hours import Span, moment_of
from bays.selectors.calendar import opening_spans
from jobs.pages.moments import ShopWords

STEP_MINUTES = 5
# A day the shop is shut still has a slider: whatever was planned or happened can be looked at.
SHUT_HOURS = (time(8), time(18))


@dataclass(frozen=True)
class FloorClock:
    """What is shown: a moment, whether it is now, and the hours of its day."""

    words: ShopWords
    day: date
    at: datetime
    is_now: bool
    opens_at: datetime
    closes_at: datetime
    shut: bool

    @classmethod
    def read(cls, given: QueryDict, shop_id: int, words: ShopWords) -> FloorClock:
        """From ``on`` and ``at``; now where nothing is asked for, or nothing that can be read."""
        day = _date(given.get("on", ""))
        wall = _time(given.get("at", ""))
        spans = opening_spans(shop_id, words.zone, day or words.today, day or words.today)
        opens_at, closes_at = _day_of_spans(spans, day or words.today, words)
        if wall is not None:
            at, is_now = moment_of(day or words.today, wall, words.zone), False
        elif day is None or day == words.today:
            at, is_now = words.now, True
        else:
            at, is_now = opens_at, False
        return cls(words, day or words.today, at, is_now, opens_at, closes_at, shut=not spans)

    @property
    def query(self) -> str:
        """The address of this moment; nothing for now, so that now stays now."""
        if self.is_now:
            return ""
        return self.address(self.day, self.at)

    def address(self, day: date, at: datetime | None = None) -> str:
        parts = {"on": day.isoformat()}
        if at is not None:
            parts["at"] = self.words.clock(at)
        return urlencode(parts)

    @property
    def lasts_minutes(self) -> int:
        return int((self.closes_at - self.opens_at).total_seconds() // 60)

    @property
    def minute(self) -> int:
        """Where the slider stands, held to the hours of the day."""
        since = (self.at - self.opens_at).total_seconds() // 60
        return int(min(max(since, 0), self.lasts_minutes))

    @property
    def opens_ms(self) -> int:
        return int(self.opens_at.timestamp() * 1000)

    @property
    def hours(self) -> list[tuple[str, str]]:
        """The full hours of the day with their addresses, as links and as the slider's scale."""
        at = _next_full_hour(self.opens_at, self.words)
        found = []
        while at <= self.closes_at:
            found.append((self.words.clock(at), self.address(self.day, at)))
            at += timedelta(hours=1)
        return found

    @property
    def on_the_hour(self) -> bool:
        """Whether the hours, spread evenly, stand where the slider stands at them."""
        first, last = (m.astimezone(self.words.zone) for m in (self.opens_at, self.closes_at))
        return first.minute == last.minute == 0

    @property
    def beside(self) -> tuple[tuple[str, str], tuple[str, str]]:
        """The day before and the day after, each with its address."""
        before, after = self.day - timedelta(days=1), self.day + timedelta(days=1)
        at = None if self.is_now else self.at
        return (
            (self.words.day(before), self.address(before, at)),
            (self.words.day(after), self.address(after, at)),
        )


def _day_of_spans(
    spans: tuple[Span, ...], day: date, words: ShopWords
) -> tuple[datetime, datetime]:
    if spans:
        return spans[0].starts_at, spans[-1].ends_at
    first, last = SHUT_HOURS
    return moment_of(day, first, words.zone), moment_of(day, last, words.zone)


def _next_full_hour(moment: datetime, words: ShopWords) -> datetime:
    past = moment.astimezone(words.zone).minute
    return moment + timedelta(minutes=(60 - past) % 60)


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _time(text: str) -> time | None:
    try:
        return time.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        return None
