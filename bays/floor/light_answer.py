"""What is asked of the light on a floor, and what is answered."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal, NamedTuple

from bays.floor.coverage import Uncovered
from bays.floor.verdict import Verdict, against

LightReason = Literal[
    "lit", "not_lit", "too_close", "too_few", "line", "not_covered", "overdue", "no_survey"
]

# One lumen a square foot, and a foot is 304.8 mm exactly; NIST SP 811 (2008), B.8 has 10.763 91.
LUX_PER_FOOTCANDLE: Final = 1 / 0.3048**2


@dataclass(frozen=True)
class LightTolerance:
    """What the light in a zone must keep to; None is no limit, a limit itself is allowed.

    ``uniformity`` is the least share of the mean that the darkest place may have, 0 to 1 (the
    ratio that EN 12464-1 calls U0; from memory). A survey covers a zone when no place in it is
    farther than ``beyond_mm`` outside the readings' convex hull, nor (where asked for) farther than
    ``gap_mm`` from every reading: the shop's own rules; common practice, no source.
    """

    min_lux: float | None
    max_lux: float | None = None
    uniformity: float | None = None
    beyond_mm: float = 1000.0
    gap_mm: float | None = None


@dataclass(frozen=True)
class Light:
    """``verdict`` is "yes", "no" or "unknown"; ``says`` gives the reason, ``reason`` its code.

    ``least_lux`` is at ``darkest_point``, ``most_lux`` at ``brightest_point``; ``worst_point`` is
    where the light fails or comes nearest to failing. Between the readings the light is
    interpolated, outside them nothing is said. Figures are None where nothing can be interpolated.
    ``uncertainty_percent`` is the standard uncertainty of every illuminance here, of its value: a
    meter's error is mostly the same in all readings, so averaging does not lessen it.
    """

    verdict: Verdict
    says: str
    least_lux: float | None = None
    most_lux: float | None = None
    mean_lux: float | None = None
    darkest_point: tuple[float, float] | None = None
    brightest_point: tuple[float, float] | None = None
    worst_point: tuple[float, float] | None = None
    uncertainty_percent: float = 0.0
    reason: LightReason = "lit"
    places: int = 0
    left_out: Uncovered | None = None
    overdue_since: date | None = None

    @property
    def uniformity(self) -> float | None:
        """The darkest place by the mean; None without readings or in the dark."""
        if self.least_lux is None or not self.mean_lux:
            return None
        return self.least_lux / self.mean_lux


class LightJudgement(NamedTuple):
    """One figure against its limit; lux, or a ratio for ``uniformity``."""

    name: Literal["least", "most", "uniformity"]
    value: float
    standard_uncertainty: float
    limit: float
    verdict: Verdict

    @property
    def slack(self) -> float:
        """How far inside its limit, as a share of the limit; below 0 outside."""
        side = self.limit - self.value if self.name == "most" else self.value - self.limit
        return side / self.limit if self.limit else side


def light_judgements(found: Light, tolerance: LightTolerance) -> tuple[LightJudgement, ...]:
    """Every figure that has a limit, judged; none where nothing was read."""
    share = found.uncertainty_percent / 100
    rows = []
    if found.least_lux is not None and tolerance.min_lux is not None:
        value, limit = found.least_lux, tolerance.min_lux
        verdict = against(value, share * value, least=limit, most=None)
        rows.append(LightJudgement("least", value, share * value, limit, verdict))
    if found.most_lux is not None and tolerance.max_lux is not None:
        value, limit = found.most_lux, tolerance.max_lux
        verdict = against(value, share * value, least=None, most=limit)
        rows.append(LightJudgement("most", value, share * value, limit, verdict))
    if found.uniformity is not None and tolerance.uniformity is not None:
        value, limit = found.uniformity, tolerance.uniformity
        # what the readings share drops out of a ratio; nobody knows how much, so none of it does
        uncertainty = math.sqrt(2) * share * value
        verdict = against(value, uncertainty, least=limit, most=None)
        rows.append(LightJudgement("uniformity", value, uncertainty, limit, verdict))
    return tuple(rows)
