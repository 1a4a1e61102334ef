"""Units, and numbers as people type them.

Inside, lengths are millimetres, angles degrees, voltages volts, pressures kilopascals, times
minutes. The registry holds only what a calibration shop reads; unlike the usual one it keeps
angle as a dimension of its own, so that degrees are never mistaken for a plain ratio.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Final

import pint

from shopcal.errors import Refusal

# Exact by definition: inch 25.4 mm, foot 12 in, pound-force per square inch from 0.453 592 37 kg,
# 9.806 65 m/s2 and the inch, rounded here at the sixteenth digit (NIST SP 811, appendix B).
_DEFINITIONS: Final = (
    "millimetre = [length] = mm",
    "centimetre = 10 millimetre = cm",
    "metre = 1000 millimetre = m",
    "inch = 25.4 millimetre = in",
    "foot = 304.8 millimetre = ft",
    "degree = [angle] = deg",
    f"radian = {180 / math.pi!r} degree = rad",
    "volt = [voltage] = V",
    "millivolt = 0.001 volt = mV",
    "kilopascal = [pressure] = kPa",
    "bar = 100 kilopascal",
    "psi = 6.894757293168361 kilopascal",
    "minute = [time] = min",
    "hour = 60 minute = h",
)
_KINDS: Final = {
    "mm": "length",
    "deg": "angle",
    "V": "voltage",
    "kPa": "pressure",
    "min": "time",
    "1": "plain number",
}
_EXAMPLES: Final = {
    "mm": "193 cm, 1.93 m, 1930 mm, 76 in or 6 ft 4",
    "deg": "0.25 deg or 0° 15'",
    "V": "12.4 V",
    "kPa": "230 kPa, 2.3 bar or 33 psi",
    "min": "20 min",
    "1": "2",
}
_SPELLINGS: Final = {
    **dict.fromkeys(["mm", "millimetre", "millimetres", "millimeter", "millimeters"], "mm"),
    **dict.fromkeys(["cm", "centimetre", "centimetres", "centimeter", "centimeters"], "cm"),
    **dict.fromkeys(["m", "metre", "metres", "meter", "meters"], "m"),
    **dict.fromkeys(["in", "in.", "inch", "inches", '"'], "in"),
    **dict.fromkeys(["ft", "ft.", "foot", "feet", "'"], "ft"),
    **dict.fromkeys(["deg", "deg.", "degree", "degrees", "°"], "deg"),
    **dict.fromkeys(["rad", "radian", "radians"], "rad"),
    **dict.fromkeys(["v", "volt", "volts"], "V"),
    **dict.fromkeys(["mv", "millivolt", "millivolts"], "mV"),
    **dict.fromkeys(["kpa"], "kPa"),
    **dict.fromkeys(["bar"], "bar"),
    **dict.fromkeys(["psi"], "psi"),
    **dict.fromkeys(["min", "minute", "minutes"], "min"),
    **dict.fromkeys(["h", "hour", "hours"], "h"),
}
_MOST_CHARACTERS: Final = 40

_DECIMAL = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_MIXED = r"(?:\d+[ -])?\d+/\d+"
_FEET = re.compile(
    rf"(?P<sign>[+-]?)\s*(?P<feet>{_DECIMAL})\s*(?:ft\.?|foot|feet|')\s*-?\s*"
    rf"(?P<inches>{_MIXED}|{_DECIMAL})\s*(?:in\.?|inch|inches|\")?"
)
_ARC = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<degrees>\d+)\s*(?:°|deg)\s*(?P<minutes>\d+(?:[.,]\d+)?)\s*(?:'|min)?"
)
_PLAIN = re.compile(rf"(?P<sign>[+-]?)\s*(?P<number>{_MIXED}|{_DECIMAL})\s*(?P<unit>[^\d\s].*)?")
_LOOKALIKES = str.maketrans(
    {"′": "'", "’": "'", "‘": "'", "´": "'", "″": '"', "”": '"', "“": '"', "−": "-", "–": "-"}
)
_SMALL_FRACTIONS: Final = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}


class ReadingRefused(Refusal):
    """What was typed is not a reading of this kind; ``right`` says what would be."""

    default_status = 422

    def __init__(self, code: str, says: str, right: str) -> None:
        super().__init__(code, says, detail=right)
        self.says = says
        self.right = right


@dataclass(frozen=True)
class Quantity:
    """A number in the unit kept inside: mm, deg, V, kPa, min or 1."""

    value: float
    unit: str


def _built() -> pint.UnitRegistry[float]:
    units: pint.UnitRegistry[float] = pint.UnitRegistry(None)
    for definition in _DEFINITIONS:
        units.define(definition)
    return units


# Built as the module is read: two threads that both built one would mix units of different ones.
_REGISTRY = _built()


def registry() -> pint.UnitRegistry[float]:
    """Return the shop's one unit registry."""
    return _REGISTRY


@cache
def inside_unit(unit: str) -> str:
    """Return the unit kept inside for ``unit``: ``mm`` for ``ft``, ``kPa`` for ``psi``, and so on.

    Raises:
        KeyError: no such unit here.
    """
    if unit == "1":
        return "1"
    if unit not in _SPELLINGS.values():
        raise KeyError(unit)
    wanted = registry().Unit(unit).dimensionality
    return next(u for u in _KINDS if u != "1" and registry().Unit(u).dimensionality == wanted)


@cache
def factor(unit: str) -> float:
    """Return how many of the unit kept inside make one ``unit`` (25.4 for ``in``)."""
    if unit == "1":
        return 1.0
    return float(registry().convert(1, unit, inside_unit(unit)))


def known_units() -> tuple[str, ...]:
    """Return every unit a worksheet may name."""
    return ("1", *dict.fromkeys(_SPELLINGS.values()))


def kind_of(unit: str) -> str:
    """Return what ``unit`` measures, in a word: length, angle, voltage, pressure, ..."""
    return _KINDS[inside_unit(unit)]


def to_inside(value: float, unit: str) -> Quantity:
    """Convert ``value`` in ``unit`` to the unit kept inside."""
    return Quantity(value * factor(unit), inside_unit(unit))


def parse_quantity(text: str, default_unit: str) -> Quantity:
    """Read what a person typed: ``193``, ``193 cm``, ``1.93 m``, ``6 ft 4``, ``6'4"``, ``12,4 V``.

    A number alone is in ``default_unit``. The decimal sign is a dot or a comma; a comma before
    exactly three digits is refused, because it may part thousands. Inches may carry fractions.

    Raises:
        ReadingRefused: with a stable code, what is wrong and what would be right.
    """
    wanted = inside_unit(default_unit)
    cleaned = _clean(text, wanted)
    if wanted == "deg" and (arc := _ARC.fullmatch(cleaned)):
        value = int(arc["degrees"]) + _below(arc["minutes"], 60, "Minutes of arc", wanted) / 60
        return Quantity(-value if arc["sign"] == "-" else value, "deg")
    if feet := _FEET.fullmatch(cleaned):
        return _same_kind(_feet_and_inches(feet, wanted), wanted, text)
    plain = _PLAIN.fullmatch(cleaned)
    if plain is None:
        raise ReadingRefused("not_a_number", f"“{text.strip()}” is not a number.", _right(wanted))
    unit = _unit(plain["unit"], default_unit, wanted)
    if "/" in plain["number"] and unit not in {"in", "ft"}:
        raise ReadingRefused("fraction", "Fractions are for inches and feet.", _right(wanted))
    value = _number(plain["number"], wanted)
    return _same_kind(to_inside(-value if plain["sign"] == "-" else value, unit), wanted, text)


def _clean(text: str, wanted: str) -> str:
    cleaned = text.translate(_LOOKALIKES).replace("''", '"')
    for sign, words in _SMALL_FRACTIONS.items():
        cleaned = cleaned.replace(sign, f" {words}")
    cleaned = " ".join(cleaned.lower().split())
    if not cleaned:
        raise ReadingRefused("empty", "Nothing was typed.", _right(wanted))
    if len(cleaned) > _MOST_CHARACTERS:
        raise ReadingRefused("too_long", "This is too long for one reading.", _right(wanted))
    return cleaned


def _right(wanted: str) -> str:
    return f"Write a {_KINDS[wanted]} such as {_EXAMPLES[wanted]}."


def _number(text: str, wanted: str) -> float:
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", text):
        joined, pointed = text.replace(",", ""), text.replace(",", ".")
        raise ReadingRefused(
            "ambiguous_comma", f"{text} may be read in two ways.", f"Write {joined} or {pointed}."
        )
    if "/" in text:
        whole, _, part = text.replace("-", " ").rpartition(" ")
        if part.endswith("/0") or int(part.partition("/")[2]) == 0:
            raise ReadingRefused("not_a_number", f"{text} divides by zero.", _right(wanted))
        return float((int(whole) if whole else 0) + Fraction(part))
    return float(text.replace(",", "."))


def _below(text: str, most: int, what: str, wanted: str) -> float:
    value = _number(text, wanted)
    if value >= most:
        raise ReadingRefused(
            "part_out_of_range", f"{what} run from 0 to below {most}, not {text}.", _right(wanted)
        )
    return value


def _feet_and_inches(found: re.Match[str], wanted: str) -> Quantity:
    if not found["feet"].isdigit():
        raise ReadingRefused(
            "part_out_of_range", "Inches follow whole feet only.", "Write 6 ft 4 or 6.5 ft."
        )
    inches = _below(found["inches"], 12, "Inches after feet", wanted)
    length = to_inside(int(found["feet"]) * 12 + inches, "in")
    return Quantity(-length.value, "mm") if found["sign"] == "-" else length


def _unit(written: str | None, default_unit: str, wanted: str) -> str:
    if written is None:
        return default_unit
    unit = _SPELLINGS.get(written.strip())
    if unit is None:
        raise ReadingRefused("unknown_unit", f"“{written}” is not a unit here.", _right(wanted))
    return unit


def _same_kind(found: Quantity, wanted: str, text: str) -> Quantity:
    if found.unit != wanted:
        says = f"{text.strip()} is a {_KINDS[found.unit]}; a {_KINDS[wanted]} is asked."
        raise ReadingRefused("wrong_kind", says, _right(wanted))
    if not math.isfinite(found.value):
        raise ReadingRefused("not_a_number", "This number is too large.", _right(wanted))
    return found
