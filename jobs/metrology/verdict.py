"""Pass, fail, or too close to call: a value with its uncertainty against its limits."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from scipy.special import ndtr, ndtri

from jobs.metrology.wording import Units, format_quantity, metric_length_unit


class Verdict(StrEnum):
    """What may be said about a limit at the agreed risk."""

    PASS = "pass"  # noqa: S105  a verdict, not a password
    FAIL = "fail"
    TOO_CLOSE = "too close to call"


@dataclass(frozen=True)
class DecisionRule:
    """Pass from one conformance probability, fail up to another (JCGM 106:2012, 8 and 9)."""

    pass_from: float = 0.95
    fail_up_to: float = 0.05

    def verdict(self, probability: float) -> Verdict:
        """Return the verdict at this conformance probability."""
        if probability >= self.pass_from:
            return Verdict.PASS
        return Verdict.FAIL if probability <= self.fail_up_to else Verdict.TOO_CLOSE

    def guard(self, standard_uncertainty: float) -> float:
        """Return how far inside a single limit a value must lie to pass."""
        return float(ndtri(self.pass_from)) * standard_uncertainty


@dataclass(frozen=True)
class Check:
    """A judged limit. Value and limits are unrounded, in mm, deg, V, kPa, min or 1."""

    verdict: Verdict
    probability: float
    value: float
    lower: float | None
    upper: float | None
    unit: str
    standard_uncertainty: float
    says: str


def conformance_probability(
    value: float, standard_uncertainty: float, lower: float | None, upper: float | None
) -> float:
    """Return how likely the true value lies within the limits, limits included.

    A normal distribution about ``value`` (JCGM 106:2012, 7.2). Without uncertainty the answer
    is 0 or 1.
    """
    if standard_uncertainty == 0:
        inside = (lower is None or lower <= value) and (upper is None or value <= upper)
        return 1.0 if inside else 0.0
    below = 0.0 if lower is None else float(ndtr((lower - value) / standard_uncertainty))
    above = 0.0 if upper is None else float(ndtr((value - upper) / standard_uncertainty))
    return max(0.0, 1.0 - below - above)


def judge(
    value: float,
    unit: str,
    *,
    lower: float | None,
    upper: float | None,
    standard_uncertainty: float = 0.0,
    units: Units = "metric",
    rule: DecisionRule = DecisionRule(),
    advice: str = "",
    remedy: str = "",
) -> Check:
    """Judge a value (inside unit) against its limits and say so in words for people.

    ``advice`` is what would settle a call too close to make; ``remedy`` what to do on a fail.
    """
    probability = conformance_probability(value, standard_uncertainty, lower, upper)
    verdict = rule.verdict(probability)
    told = tell_against_limits(value, unit, lower, upper, units)
    says = f"{told}: {verdict}"
    if verdict is Verdict.TOO_CLOSE and advice:
        says += f"; {advice}"
    elif verdict is Verdict.FAIL and remedy:
        says += f". {remedy}"
    return Check(verdict, probability, value, lower, upper, unit, standard_uncertainty, says)


def tell_against_limits(
    value: float, unit: str, lower: float | None, upper: float | None, units: Units = "metric"
) -> str:
    """Say a value beside its limits, all in one unit: ``12.2 mm, limit 13 mm``."""
    largest = max(abs(v) for v in (value, lower, upper) if v is not None)
    of = metric_length_unit(largest) if unit == "mm" else ""

    def told(number: float) -> str:
        return format_quantity(number, unit, units, finely=True, of=of)

    if lower is None and upper is not None:
        return f"{told(value)}, limit {told(upper)}"
    if upper is None and lower is not None:
        return f"{told(value)}, at least {told(lower)}"
    if lower is not None and upper is not None:
        return f"{told(value)}, between {told(lower)} and {told(upper)}"
    return told(value)
