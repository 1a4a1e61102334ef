"""How much of the time a bay or a person could be used they were."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True, order=True)
class Span:
    """Half-open stretch of real time, both ends aware."""

    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class Use:
    """``held_minutes`` lie inside the ``open_minutes``; ``outside_minutes`` before or after."""

    name: str
    held_minutes: int
    open_minutes: int
    outside_minutes: int

    @property
    def share(self) -> float | None:
        """From 0 to 1; None where there was no open time at all."""
        return self.held_minutes / self.open_minutes if self.open_minutes else None

    @property
    def says(self) -> str:
        """The use in words: ``3 h 20 min of 8 h (42 %)``."""
        if self.share is None:
            says = "not open"
        else:
            used, opened = hours(self.held_minutes), hours(self.open_minutes)
            says = f"{used} of {opened} ({self.share * 100:.0f} %)"
        return f"{says}, {hours(self.outside_minutes)} outside" if self.outside_minutes else says


def use_of(name: str, held: Iterable[Span], opened: Iterable[Span]) -> Use:
    """How long something was held while it could be. Overlapping holds count once."""
    taken, free = merged(held), merged(opened)
    inside = minutes_of(overlap(taken, free))
    return Use(name, inside, minutes_of(free), minutes_of(taken) - inside)


def clipped(spans: Iterable[Span], within: Span) -> tuple[Span, ...]:
    """The parts of these spans that lie within another."""
    return overlap(merged(spans), (within,))


def merged(spans: Iterable[Span]) -> tuple[Span, ...]:
    """The same time as spans in order that neither touch nor overlap; empty ones are dropped."""
    found: list[Span] = []
    for span in sorted(s for s in spans if s.starts_at < s.ends_at):
        if found and span.starts_at <= found[-1].ends_at:
            last = found.pop()
            found.append(Span(last.starts_at, max(last.ends_at, span.ends_at)))
        else:
            found.append(span)
    return tuple(found)


def overlap(one: Sequence[Span], other: Sequence[Span]) -> tuple[Span, ...]:
    """Where both are; each must be merged."""
    found: list[Span] = []
    i = j = 0
    while i < len(one) and j < len(other):
        starts_at = max(one[i].starts_at, other[j].starts_at)
        ends_at = min(one[i].ends_at, other[j].ends_at)
        if starts_at < ends_at:
            found.append(Span(starts_at, ends_at))
        if one[i].ends_at <= other[j].ends_at:
            i += 1
        else:
            j += 1
    return tuple(found)


def minutes_of(spans: Iterable[Span]) -> int:
    """Whole minutes of spans that do not overlap, rounded once at the end."""
    total = sum((span.ends_at - span.starts_at for span in spans), timedelta())
    return round(total.total_seconds() / 60)


def hours(minutes: int) -> str:
    """``3 h 20 min`` of 200."""
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min"
    return f"{whole} h {rest} min" if rest else f"{whole} h"
