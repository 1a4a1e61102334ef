"""How long steps are planned to take: by the edition, or by the shop's own past work.

From ``ENOUGH`` finished steps of a kind (scans) or procedure on, the shop's chosen percentile q
of the latest ``LATEST`` durations counts, drawn towards the edition's minutes as if those had
been ``ENOUGH`` more steps:

    (n * q + ENOUGH * edition) / (n + ENOUGH), rounded up to the planner's grid.

The percentile lies between two durations as in linear interpolation (Hyndman and Fan 1996,
definition 7; from memory). A step left open for more than ``FORGOTTEN`` was not worked on all
that time and does not count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from math import ceil

from bays.planner import GRID_MINUTES
from jobs.models import Step
from shopcal.accounts.models import Shop

ENOUGH = 8
LATEST = 200
FORGOTTEN = timedelta(hours=12)
ROWS_READ = 4000


@dataclass(frozen=True)
class PlannedMinutes:
    minutes: int
    says: str


@dataclass(frozen=True)
class History:
    """Minutes that finished steps took, latest first, by kind and procedure code."""

    percentile: int
    took: Mapping[tuple[str, str], Sequence[float]] = field(default_factory=dict)

    def planned(self, kind: str, code: str, edition: int, least: int) -> PlannedMinutes | None:
        """What such a step is planned at; None while there is too little history."""
        took = self.took.get((kind, code), ())
        if len(took) < ENOUGH:
            return None
        minutes = max(planned_minutes(took, self.percentile, edition), least)
        within = sum(1 for one in took if one <= minutes)
        says = f"planned at {minutes} min: {within} of the last {len(took)} were done in that"
        return PlannedMinutes(minutes, says)


def planned_minutes(took: Sequence[float], percentile: int, edition: int) -> int:
    """The minutes to plan, on the grid; see the rule above."""
    drawn = len(took) * quantile(took, percentile / 100) + ENOUGH * edition
    return ceil(round(drawn / (len(took) + ENOUGH) / GRID_MINUTES, 9)) * GRID_MINUTES


def quantile(values: Iterable[float], share: float) -> float:
    """The value below which this share lies, between neighbours in proportion."""
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    below = int(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])


def history_of(shop: Shop) -> History:
    """The shop's finished steps, in one query."""
    rows = (
        Step.objects.for_shop(shop.pk)
        .filter(state=Step.State.DONE, started_at__isnull=False, ended_at__isnull=False)
        .order_by("-ended_at")
        .values_list("kind", "calibration__edition__procedure__code", "started_at", "ended_at")[
            :ROWS_READ
        ]
    )
    took: dict[tuple[str, str], list[float]] = defaultdict(list)
    for kind, code, started_at, ended_at in rows:
        if started_at is None or ended_at is None:
            continue
        known = took[kind, code or ""]
        if timedelta(0) < ended_at - started_at <= FORGOTTEN and len(known) < LATEST:
            known.append((ended_at - started_at).total_seconds() / 60)
    return History(shop.duration_percentile, dict(took))
