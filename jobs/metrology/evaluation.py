"""From readings to values with uncertainty and checks with verdicts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from jobs.metrology.advice import Reading, what_would_settle
from jobs.metrology.expressions import Number
from jobs.metrology.instruments import Instrument
from jobs.metrology.quantities import Quantity, ReadingRefused, inside_unit, parse_quantity
from jobs.metrology.uncertainty import Sources, best_estimate, standard_uncertainty
from jobs.metrology.verdict import Check, DecisionRule, Verdict, judge
from jobs.metrology.wording import Units, format_quantity
from jobs.metrology.worksheet import CheckRule, Input, Worksheet
from shopcal.errors import FieldError

# Kept with every stored result; raise it when the same readings would give other numbers.
METHOD: Final = "first order 1"

Typed = str | Quantity
Readings = Mapping[str, Typed | Sequence[Typed]]


@dataclass(frozen=True)
class Value:
    """A quantity, unrounded, in mm, deg, V, kPa, min or 1."""

    value: float
    unit: str
    standard_uncertainty: float
    degrees_of_freedom: float


@dataclass(frozen=True)
class Results:
    """What a worksheet says so far.

    ``missing`` names inputs with fewer readings than asked for; what depends on them has no
    value and no verdict yet. ``errors`` are readings refused, with their path (``gap[0]``).
    """

    values: Mapping[str, Value]
    checks: Mapping[str, Check]
    missing: tuple[str, ...]
    errors: tuple[FieldError, ...]
    method: str = METHOD

    @property
    def passed(self) -> bool:
        """Say whether nothing is missing, nothing refused, and every check passes."""
        verdicts = (check.verdict for check in self.checks.values())
        return not self.missing and not self.errors and all(v is Verdict.PASS for v in verdicts)

    def as_content(self) -> dict[str, Any]:
        """Return everything as JSON can hold it; unlimited degrees of freedom become null."""
        return {
            "method": self.method,
            "values": {
                name: {
                    "value": v.value,
                    "unit": v.unit,
                    "standard_uncertainty": v.standard_uncertainty,
                    "degrees_of_freedom": (
                        v.degrees_of_freedom if math.isfinite(v.degrees_of_freedom) else None
                    ),
                }
                for name, v in self.values.items()
            },
            "checks": {
                name: {
                    "verdict": str(c.verdict),
                    "probability": c.probability,
                    "value": c.value,
                    "lower": c.lower,
                    "upper": c.upper,
                    "unit": c.unit,
                    "standard_uncertainty": c.standard_uncertainty,
                    "says": c.says,
                }
                for name, c in self.checks.items()
            },
            "missing": list(self.missing),
            "errors": [{"path": e.path, "says": e.says, "right": e.right} for e in self.errors],
        }


def evaluate(
    worksheet: Worksheet,
    readings: Readings,
    instruments: Mapping[str, Instrument] | None = None,
    *,
    units: Units = "metric",
    rule: DecisionRule = DecisionRule(),  # noqa: B008  frozen
) -> Results:
    """Evaluate a worksheet on readings as typed, or already parsed.

    ``instruments`` maps an input's name to the instrument it was read from; without one the
    instrument the worksheet asks for stands in. Inputs are taken as independent. Uncertainty is
    propagated to first order. Values stay unrounded; ``says`` is worded in the shop's ``units``.
    """
    return _Evaluation(worksheet, instruments or {}, units, rule).run(readings)


class _Evaluation:
    def __init__(
        self,
        worksheet: Worksheet,
        instruments: Mapping[str, Instrument],
        units: Units,
        rule: DecisionRule,
    ) -> None:
        self.worksheet = worksheet
        self.instruments = instruments
        self.units = units
        self.rule = rule
        self.sources = Sources()
        self.numbers: dict[str, Number] = {}
        self.read: dict[str, Reading] = {}
        self.missing: list[str] = []
        self.errors: list[FieldError] = []

    def run(self, readings: Readings) -> Results:
        self._refuse_strangers(readings)
        for wanted in self.worksheet.inputs:
            self._take(wanted, readings.get(wanted.name, ()))
        for fixed in self.worksheet.constants:
            self.numbers[fixed.name] = self.sources.fixed(
                fixed.name, fixed.value, fixed.standard_uncertainty
            )
        self._compute()
        values = {
            q.name: self._value(self.numbers[q.name], q.unit)
            for q in self.worksheet.quantities
            if q.name in self.numbers
        }
        checks = {
            check.name: self._judge(check)
            for check in self.worksheet.checks
            if check.quantity in self.numbers
        }
        return Results(values, checks, tuple(self.missing), tuple(self.errors))

    def _refuse_strangers(self, readings: Readings) -> None:
        known = [wanted.name for wanted in self.worksheet.inputs]
        for path in (*readings, *self.instruments):
            if path not in known:
                right = f"Inputs: {', '.join(known)}."
                self.errors.append(FieldError(path, f"“{path}” is no input here", right))

    def _take(self, wanted: Input, typed: Typed | Sequence[Typed]) -> None:
        given = [typed] if isinstance(typed, str | Quantity) else list(typed)
        before = len(self.errors)
        found = [self._reading(wanted, each, i) for i, each in enumerate(given)]
        if len(self.errors) > before:
            return
        if len(found) < wanted.repeats:
            self.missing.append(wanted.name)
            return
        instrument = self.instruments.get(wanted.name, wanted.instrument)
        number = self.sources.reading(wanted.name, found, instrument)
        self.numbers[wanted.name] = number
        self.read[wanted.name] = Reading(wanted.label, best_estimate(number), instrument)

    def _reading(self, wanted: Input, typed: Typed, index: int) -> float:
        path = f"{wanted.name}[{index}]"
        try:
            found = parse_quantity(typed, wanted.unit) if isinstance(typed, str) else typed
        except ReadingRefused as fault:
            self.errors.append(FieldError(path, fault.says, fault.right))
            return math.nan
        if found.unit != inside_unit(wanted.unit):
            right = f"Give it in {inside_unit(wanted.unit)}."
            self.errors.append(FieldError(path, f"is in {found.unit}", right))
        elif wanted.plausible is not None and not self._is_plausible(found.value, wanted):
            self._add_implausible(path, found, wanted)
        return found.value

    def _is_plausible(self, value: float, wanted: Input) -> bool:
        bounds = wanted.plausible
        return bounds is None or (
            (bounds.lower is None or bounds.lower <= value)
            and (bounds.upper is None or value <= bounds.upper)
        )

    def _add_implausible(self, path: str, found: Quantity, wanted: Input) -> None:
        bounds = wanted.plausible
        assert bounds is not None
        told = [
            format_quantity(bound, found.unit, self.units)
            for bound in (bounds.lower, bounds.upper)
            if bound is not None
        ]
        value = format_quantity(found.value, found.unit, self.units)
        says = f"{value} cannot be right for “{wanted.label}”"
        right = f"Usual is {' to '.join(told)}. Look at the unit, and measure again."
        self.errors.append(FieldError(path, says, right))

    def _compute(self) -> None:
        for computed in self.worksheet.computed:
            if not computed.expression.names <= set(self.numbers):
                continue
            try:
                number = computed.expression.value(self.numbers)
                if not math.isfinite(best_estimate(number) + standard_uncertainty(number)):
                    raise ArithmeticError("no finite value")
            except (ArithmeticError, ValueError) as fault:
                says = f"“{computed.label}” has no value at these readings ({fault})"
                self.errors.append(FieldError(computed.name, says, "Measure again."))
                continue
            self.numbers[computed.name] = number

    def _value(self, number: Number, unit: str) -> Value:
        return Value(
            best_estimate(number),
            inside_unit(unit),
            standard_uncertainty(number),
            self.sources.degrees_of_freedom(number),
        )

    def _judge(self, check: CheckRule) -> Check:
        number = self.numbers[check.quantity]
        value = best_estimate(number)
        advice = what_would_settle(
            check,
            value,
            self.sources.contributions(number),
            self.read,
            rule=self.rule,
            units=self.units,
        )
        return judge(
            value,
            check.unit,
            lower=check.limits.lower,
            upper=check.limits.upper,
            standard_uncertainty=standard_uncertainty(number),
            units=self.units,
            rule=self.rule,
            advice=advice,
            remedy=check.remedy,
        )
