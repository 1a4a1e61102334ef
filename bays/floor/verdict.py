"""Yes, no or unknown: a figure with its uncertainty against limits, and readings past their day."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final, Literal

Verdict = Literal["yes", "no", "unknown"]

# Expanded uncertainty is twice the standard uncertainty: about 95 % for a normal distribution
# (JCGM 100:2008, 6.3.3).
COVERAGE_FACTOR: Final = 2.0
# A millionth of a percent, a millimetre or a lux is rounding, not floor.
ROUNDING: Final = 1e-6


def against(
    value: float, standard_uncertainty: float, *, least: float | None, most: float | None
) -> Verdict:
    """Judge a figure: limits themselves are allowed, None is no limit.

    "unknown" when a limit lies inside the expanded uncertainty: the true figure may be on either
    side of it.
    """
    reach = COVERAGE_FACTOR * standard_uncertainty
    verdicts: list[Verdict] = []
    for over in (
        None if most is None else value - most,
        None if least is None else least - value,
    ):
        if over is None or over + reach <= ROUNDING:
            verdicts.append("yes")
        else:
            verdicts.append("no" if over - reach > ROUNDING else "unknown")
    return together(verdicts)


def together(verdicts: Iterable[Verdict]) -> Verdict:
    """One no is no; without a no, one unknown is unknown."""
    found = set(verdicts)
    if "no" in found:
        return "no"
    return "unknown" if "unknown" in found else "yes"


def overdue_since(due_on: date | None, today: date) -> date | None:
    """The day readings ceased to be good: they are up to and with ``due_on``, None is for ever."""
    if due_on is None or today <= due_on:
        return None
    return due_on + timedelta(days=1)


def told_apart(value: float, limit: float | None, decimals: int, most_decimals: int = 6) -> str:
    """A figure rounded, with as many decimals as keep it on its own side of a limit."""
    for places in range(decimals, most_decimals):
        rounded = round(value, places)
        if limit is None or (rounded > limit) == (value > limit + ROUNDING):
            return f"{rounded:.{places}f}"
    return f"{value:.{most_decimals}f}"


def rounded_up(value: float, decimals: int) -> str:
    """An uncertainty, never said smaller than it is."""
    scale = 10.0**decimals
    return f"{math.ceil(value * scale - ROUNDING) / scale:.{decimals}f}"
