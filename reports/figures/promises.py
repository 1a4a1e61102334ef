"""Whether vehicles were ready when the customer was told."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from reports.figures.shares import Share, share_of


@dataclass(frozen=True)
class Promise:
    """The time told to the customer, and when the vehicle was ready; None while it is not."""

    promised_at: datetime
    ready_at: datetime | None


def keeping(promises: Iterable[Promise], now: datetime) -> Share:
    """The share kept of promises that are decided by ``now``.

    One is kept if the vehicle was ready by the minute promised. One past its time and not ready is
    broken already: leaving it out until it is ready would flatter a bad day. One still ahead is
    counted once the vehicle is ready.
    """
    decided = [p for p in promises if p.promised_at <= now or p.ready_at is not None]
    kept = sum(p.ready_at is not None and p.ready_at <= p.promised_at for p in decided)
    return share_of(kept, len(decided))
