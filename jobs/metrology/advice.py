"""What would settle a check that is too close to call."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from jobs.metrology.instruments import Instrument
from jobs.metrology.uncertainty import Source
from jobs.metrology.verdict import DecisionRule, Verdict, conformance_probability
from jobs.metrology.wording import Units, format_quantity, metric_length_unit
from jobs.metrology.worksheet import CheckRule

_MATTERS: Final = 0.2  # share of the variance from which an input is worth measuring again


@dataclass(frozen=True)
class Reading:
    """An input as read: its words, its mean and the instrument it was read from."""

    label: str
    value: float
    instrument: Instrument


def what_would_settle(
    check: CheckRule,
    value: float,
    contributions: Mapping[Source, float],
    readings: Mapping[str, Reading],
    *,
    rule: DecisionRule,
    units: Units,
) -> str:
    """Say what would settle a call too close to make, in the imperative, without a full stop.

    Offers a class I tape only where it would settle the call at the same reading, and more
    repeats only where the scatter of the repeats is most of the uncertainty.
    """
    variance = math.fsum(u * u for u in contributions.values())
    by_input: dict[str, float] = {}
    for source, u in contributions.items():
        by_input[source.input_name] = by_input.get(source.input_name, 0.0) + u * u
    worth = [name for name in readings if by_input.get(name, 0.0) >= _MATTERS * variance]
    scatter = math.fsum(u * u for source, u in contributions.items() if source.from_repeats)
    words = ["measure twice more" if scatter > variance / 2 else _again(worth, readings)]
    finer_u = _with_class_one_tapes(contributions, readings)
    if finer_u is not None:
        limits = check.limits
        finer = conformance_probability(value, finer_u, limits.lower, limits.upper)
        if rule.verdict(finer) is not Verdict.TOO_CLOSE:
            words.append("take a class I tape")
    target = _target(check, value, math.sqrt(variance), rule, units)
    if target:
        words.append(target)
    return " or ".join(word for word in words if word)


def _again(names: list[str], readings: Mapping[str, Reading]) -> str:
    if not names:
        return ""
    if len(names) > 2:
        return "measure all again"
    labels = " and ".join(f"“{readings[name].label}”" for name in names)
    return f"measure {labels} again"


def _with_class_one_tapes(
    contributions: Mapping[Source, float], readings: Mapping[str, Reading]
) -> float | None:
    total, changed = 0.0, False
    for source, u in contributions.items():
        part = u
        reading = readings.get(source.input_name)
        if reading is not None and not source.from_repeats:
            finer = reading.instrument.finest_of_its_kind()
            if finer is not None:
                now = reading.instrument.standard_uncertainty(reading.value)
                part = u * finer.standard_uncertainty(reading.value) / now
                changed = True
        total += part * part
    return math.sqrt(total) if changed else None


def _target(
    check: CheckRule, value: float, standard_uncertainty: float, rule: DecisionRule, units: Units
) -> str:
    """Say to which value it would have to be brought to pass with these instruments."""
    guard = rule.guard(standard_uncertainty)
    lower, upper = check.limits.lower, check.limits.upper
    if lower is not None and upper is not None and upper - lower < 2 * guard:
        return "take a finer instrument: this one cannot decide between these limits"
    nearest_upper = upper is not None and (lower is None or upper - value <= value - lower)
    bound, more_or_less = (upper, "less") if nearest_upper else (lower, "more")
    if bound is None:
        return ""
    # One step of the display inside the exact bound, so that the number shown does pass.
    step = 0.1 if check.unit == "mm" else 0.01
    exact = bound - guard if nearest_upper else bound + guard
    steps = math.floor(exact / step) if nearest_upper else math.ceil(exact / step)
    of = metric_length_unit(max(abs(bound), abs(value))) if check.unit == "mm" else ""
    told = format_quantity(steps * step, check.unit, units, finely=True, of=of)
    return f"bring it to {told} or {more_or_less}"
