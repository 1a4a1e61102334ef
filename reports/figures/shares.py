"""A share of some cases, with the interval it may really lie in."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

Z_95: Final = 1.959963984540054  # the normal distribution's 97.5 % point
FEW: Final = 20  # below this many cases the interval is told with the share; our choice


@dataclass(frozen=True)
class Share:
    """``hits`` of ``cases``; ``value``, ``lower``, ``upper`` are from 0 to 1, None of nothing."""

    hits: int
    cases: int
    value: float | None
    lower: float | None
    upper: float | None

    @property
    def says(self) -> str:
        """The share in words: ``7 of 8 (88 %)``."""
        if self.value is None:
            return "nothing to count yet"
        return f"{self.hits} of {self.cases} ({self.value * 100:.0f} %)"

    @property
    def caution(self) -> str:
        """What so few cases do not tell, "" where there are enough of them."""
        if self.lower is None or self.upper is None or self.cases >= FEW:
            return ""
        cases = "1 case says" if self.cases == 1 else f"{self.cases} cases say"
        low, high = f"{self.lower * 100:.0f}", f"{self.upper * 100:.0f}"
        return f"{cases} little: the true share may be {low} to {high} %"


def share_of(hits: int, cases: int, z: float = Z_95) -> Share:
    """A share with its score interval, by default at 95 %.

    E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of
    the American Statistical Association 22 (1927), pages 209-212. No continuity correction.

    Raises:
        ValueError: fewer than no hits, or more hits than cases.
    """
    if not 0 <= hits <= cases:
        raise ValueError(f"{hits} hits of {cases} cases cannot be.")
    if cases == 0:
        return Share(0, 0, None, None, None)
    share = hits / cases
    widened = 1 + z * z / cases
    middle = (share + z * z / (2 * cases)) / widened
    reach = z / widened * math.sqrt(share * (1 - share) / cases + z * z / (4 * cases * cases))
    # Exact at the ends, where rounding would leave a trace below 0 or above 1.
    lower = 0.0 if hits == 0 else max(0.0, middle - reach)
    upper = 1.0 if hits == cases else min(1.0, middle + reach)
    return Share(hits, cases, share, lower, upper)
