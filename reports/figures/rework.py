"""What had to be done again: first time through, and why not."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from reports.figures.shares import Share, share_of

RETURN_WITHIN_DAYS: Final = 30  # a vehicle back for the same system this soon is rework; our choice
NO_CAUSE: Final = "no cause written down"


@dataclass(frozen=True)
class Concluded:
    """A calibration that came to its end: verified, or failed or stopped and left so.

    ``returned`` says that the same system of the same vehicle was calibrated here within
    ``RETURN_WITHIN_DAYS`` before.
    """

    verified: bool
    attempts: int
    returned: bool = False


@dataclass(frozen=True)
class Attempted:
    """An attempt that did not pass, its cause as picked or written, and how long it took."""

    cause: str
    minutes: int


@dataclass(frozen=True)
class CauseCount:
    cause: str
    count: int
    minutes: int


def first_time_through(rows: Iterable[Concluded]) -> Share:
    """The share of calibrations verified on their first attempt, on a vehicle not back for it."""
    rows = list(rows)
    first = sum(row.verified and row.attempts == 1 and not row.returned for row in rows)
    return share_of(first, len(rows))


def causes_of_rework(rows: Iterable[Attempted]) -> tuple[CauseCount, ...]:
    """Attempts that did not pass, by cause: the most frequent first, then the longest.

    Causes are told apart by their words, whatever their capitals and spaces.
    """
    found: dict[str, list[Attempted]] = defaultdict(list)
    for row in rows:
        found[" ".join(row.cause.casefold().split())].append(row)
    counts = [
        CauseCount(
            cause=" ".join(group[0].cause.split()) or NO_CAUSE,
            count=len(group),
            minutes=sum(row.minutes for row in group),
        )
        for group in found.values()
    ]
    return tuple(sorted(counts, key=lambda c: (-c.count, -c.minutes, c.cause)))
