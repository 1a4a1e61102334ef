"""What is asked of a floor's level, and what is answered."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal, NamedTuple

from bays.floor.coverage import Uncovered
from bays.floor.verdict import Verdict, against

LevelReason = Literal[
    "level", "not_level", "too_close", "too_few", "line", "not_covered", "overdue", "no_survey"
]


@dataclass(frozen=True)
class LevelTolerance:
    """The most that is allowed; None is no limit.

    ``slope_percent`` is the steepest slope of the fitted plane, ``deviation_mm`` the most that a
    reading may lie off the plane, up or down; ``along_percent`` and ``across_percent`` limit the
    slope along and across the vehicle, either way. A limit itself is allowed.

    A survey covers a zone when no place in it is farther than ``beyond_mm`` outside the readings'
    convex hull, nor (where a shop asks for it) farther than ``gap_mm`` from every reading. Both are
    the shop's own rules; common practice, no source.
    """

    slope_percent: float | None
    deviation_mm: float | None
    beyond_mm: float = 500.0
    gap_mm: float | None = None
    along_percent: float | None = None
    across_percent: float | None = None


@dataclass(frozen=True)
class Level:
    """``verdict`` is "yes", "no" or "unknown"; ``says`` gives the reason, ``reason`` its code.

    ``along_percent`` is positive when the floor rises ahead, ``across_percent`` when it rises to
    the left. ``max_deviation_mm`` is the greatest vertical distance of a reading from the plane, up
    or down, at ``worst_point``. Figures are ``None`` when no plane can be fitted. Uncertainties are
    standard uncertainties, from the reading uncertainty alone.
    """

    verdict: Verdict
    says: str
    slope_percent: float | None = None
    along_percent: float | None = None
    across_percent: float | None = None
    max_deviation_mm: float | None = None
    worst_point: tuple[float, float] | None = None
    slope_uncertainty_percent: float | None = None
    along_uncertainty_percent: float | None = None
    across_uncertainty_percent: float | None = None
    deviation_uncertainty_mm: float | None = None
    reason: LevelReason = "level"
    places: int = 0
    left_out: Uncovered | None = None
    reading_uncertainty_mm: float = 0.0
    overdue_since: date | None = None
    worst_is_above: bool | None = None


class Judgement(NamedTuple):
    """One figure of a fitted plane against its limit, in percent or millimetres."""

    name: Literal["slope", "along", "across", "deviation"]
    value: float
    standard_uncertainty: float
    limit: float
    verdict: Verdict


def judgements(found: Level, tolerance: LevelTolerance) -> tuple[Judgement, ...]:
    """Every figure that has a limit, judged; none where no plane was fitted."""
    rows: list[Judgement] = []
    for name, value, uncertainty, limit in (
        ("slope", found.slope_percent, found.slope_uncertainty_percent, tolerance.slope_percent),
        ("along", found.along_percent, found.along_uncertainty_percent, tolerance.along_percent),
        (
            "across", found.across_percent, found.across_uncertainty_percent,
            tolerance.across_percent,
        ),
        (
            "deviation", found.max_deviation_mm, found.deviation_uncertainty_mm,
            tolerance.deviation_mm,
        ),
    ):  # fmt: skip
        if value is None or uncertainty is None or limit is None:
            continue
        verdict = against(abs(value), uncertainty, least=None, most=limit)
        rows.append(Judgement(name, abs(value), uncertainty, limit, verdict))  # type: ignore[arg-type]
    return tuple(rows)
