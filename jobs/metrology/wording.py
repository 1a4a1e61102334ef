"""Quantities in words for people, in a metric or a US shop."""

from __future__ import annotations

from fractions import Fraction
from typing import Final, Literal

from jobs.metrology.quantities import factor, to_inside

Units = Literal["metric", "us"]

_PLACES: Final = {"deg": 2, "V": 2, "min": 0, "1": 3}
_SUFFIX: Final = {"deg": "°", "V": " V", "min": " min", "1": ""}
_SIXTEENTHS: Final = 16
_FEET_FROM_IN: Final = 36
_WHOLE_MM_FROM: Final = 100
_METRES_FROM_MM: Final = 10_000


def format_quantity(
    value: float, unit: str, units: Units = "metric", *, finely: bool = False, of: str = ""
) -> str:
    """Write ``value`` in ``unit`` for people.

    Metric lengths are millimetres below 10 cm, centimetres below 10 m, metres above; US lengths
    are feet, inches and sixteenths, pressures kPa or psi. ``finely`` is for judging: tenths of a
    millimetre, hundredths of an inch, with no fraction. ``of`` forces one metric length unit
    (``mm``, ``cm`` or ``m``), so that a value and its limit read alike. The value shown is
    rounded; keep the unrounded one.
    """
    inside = to_inside(value, unit)
    if inside.unit == "mm":
        if units == "us":
            inches = inside.value / factor("in")
            return f"{_trim(inches, 2)} in" if finely else _feet_inches(inches)
        return _metric_length(inside.value, finely, of or metric_length_unit(inside.value))
    if inside.unit == "kPa":
        if units == "us":
            return f"{_trim(inside.value / factor('psi'), 1)} psi"
        return f"{_trim(inside.value, 1 if finely else 0)} kPa"
    return f"{_trim(inside.value, _PLACES[inside.unit])}{_SUFFIX[inside.unit]}"


def metric_length_unit(value_mm: float) -> str:
    """Return the metric unit a length of this size is told in."""
    if round(abs(value_mm), 1) < _WHOLE_MM_FROM:
        return "mm"
    return "cm" if abs(value_mm) < _METRES_FROM_MM else "m"


def _metric_length(value_mm: float, finely: bool, of: str) -> str:
    places = {"mm": 1, "cm": 2 if finely else 1, "m": 3}[of]
    return f"{_trim(value_mm / factor(of), places)} {of}"


def _feet_inches(inches: float) -> str:
    sixteenths = round(abs(inches) * _SIXTEENTHS)
    sign = "-" if inches < 0 and sixteenths else ""
    if sixteenths < _FEET_FROM_IN * _SIXTEENTHS:
        return f"{sign}{_mixed(sixteenths)} in"
    feet, rest = divmod(sixteenths, 12 * _SIXTEENTHS)
    return f"{sign}{feet} ft {_mixed(rest)} in" if rest else f"{sign}{feet} ft"


def _mixed(sixteenths: int) -> str:
    whole, rest = divmod(sixteenths, _SIXTEENTHS)
    if not rest:
        return str(whole)
    part = Fraction(rest, _SIXTEENTHS)
    return f"{whole} {part}" if whole else str(part)


def _trim(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
