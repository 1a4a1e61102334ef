"""Uncertainty of readings and of what follows from them, to first order (JCGM 100, the GUM)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import fmean, stdev

from uncertainties import UFloat, ufloat
from uncertainties.core import Variable

from jobs.metrology.expressions import Number
from jobs.metrology.instruments import Instrument


@dataclass(frozen=True)
class Source:
    """One independent contribution: an input's instrument, or the scatter of its repeats."""

    input_name: str
    from_repeats: bool
    degrees_of_freedom: float


@dataclass
class Sources:
    """Remembers what each independent contribution stands for."""

    known: dict[Variable, Source] = field(default_factory=dict)

    def reading(self, name: str, values: Sequence[float], instrument: Instrument) -> Number:
        """Return the mean of ``values`` with its uncertainty.

        u² = MPE²/3 + resolution²/12 + certificate² + s²/n, the last only for repeats (s with
        n - 1 degrees of freedom, the others taken as fully known: GUM 4.2.3, 4.3.7, G.4.2).
        """
        mean = fmean(values)
        total = self.part(name, instrument.standard_uncertainty(mean), math.inf) + mean
        if len(values) > 1:
            scatter = stdev(values) / math.sqrt(len(values))
            total = total + self.part(name, scatter, len(values) - 1)
        return total

    def fixed(self, name: str, value: float, standard_uncertainty: float) -> Number:
        """Return a constant with its stated uncertainty."""
        return self.part(name, standard_uncertainty, math.inf) + value

    def part(self, name: str, standard_uncertainty: float, freedom: float) -> Number:
        """Return one independent contribution about 0, remembered with what it stands for."""
        if standard_uncertainty == 0:
            return 0.0
        part = ufloat(0.0, standard_uncertainty)
        self.known[part] = Source(name, math.isfinite(freedom), freedom)
        return part

    def contributions(self, value: Number) -> Mapping[Source, float]:
        """Return each source's share |sensitivity x u| of the value's uncertainty."""
        if not isinstance(value, UFloat):
            return {}
        return {self.known[part]: float(u) for part, u in value.error_components().items()}

    def degrees_of_freedom(self, value: Number) -> float:
        """Return the effective degrees of freedom (Welch-Satterthwaite, GUM G.2b)."""
        spread = math.fsum(
            u**4 / source.degrees_of_freedom for source, u in self.contributions(value).items()
        )
        return standard_uncertainty(value) ** 4 / spread if spread > 0 else math.inf


def best_estimate(value: Number) -> float:
    """Return the value without its uncertainty."""
    return float(value.nominal_value) if isinstance(value, UFloat) else float(value)


def standard_uncertainty(value: Number) -> float:
    """Return the value's standard uncertainty; 0 for an exact one."""
    return float(value.std_dev) if isinstance(value, UFloat) else 0.0
