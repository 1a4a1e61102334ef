"""Lengths as people type them and read them. Pure: imports no Django.

Inside, lengths are millimetres. The inch is 25.4 mm and the foot 12 inches, both exact (NIST
SP 811, appendix B).
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Final, Literal

from shopcal.errors import Invalid

Units = Literal["metric", "us"]

MM_PER_INCH: Final = 25.4
MM_PER_FOOT: Final = 304.8
_MM: Final = {
    **dict.fromkeys(["mm", "millimetre", "millimetres", "millimeter", "millimeters"], 1.0),
    **dict.fromkeys(["cm", "centimetre", "centimetres", "centimeter", "centimeters"], 10.0),
    **dict.fromkeys(["m", "metre", "metres", "meter", "meters"], 1000.0),
    **dict.fromkeys(["in", "in.", "inch", "inches", '"'], MM_PER_INCH),
    **dict.fromkeys(["ft", "ft.", "foot", "feet", "'"], MM_PER_FOOT),
}
_MOST_CHARACTERS: Final = 40
_DECIMAL = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_MIXED = r"(?:\d+[ -])?\d+/\d+"
_FEET = re.compile(
    rf"(?P<sign>[+-]?)\s*(?P<feet>\d+)\s*(?:ft\.?|foot|feet|')\s*-?\s*"
    rf"(?P<inches>{_MIXED}|{_DECIMAL})\s*(?:in\.?|inch|inches|\")?"
)
_PLAIN = re.compile(rf"(?P<sign>[+-]?)\s*(?P<number>{_MIXED}|{_DECIMAL})\s*(?P<unit>[^\d\s].*)?")
_LOOKALIKES = str.maketrans(
    {"′": "'", "’": "'", "‘": "'", "´": "'", "″": '"', "”": '"', "“": '"', "−": "-", "–": "-"}
)
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}")


class LengthRefused(Invalid):
    """What was typed is no length; ``title`` says why and ``detail`` what would be right."""

    def __init__(self, says: str, right: str) -> None:
        super().__init__("not_a_length", says, detail=right)


def example(units: Units) -> str:
    """Lengths as this shop would write them."""
    return "10 ft 6 in or 126 in" if units == "us" else "3.2 m, 320 cm or 3200 mm"


def parse_length(text: str, units: Units) -> float:
    """Millimetres of ``3200``, ``3.2 m``, ``320 cm``, ``10 ft 6 in``, ``10' 6 1/2"``, ``-4 ft``.

    A number alone is millimetres in a metric shop and inches in a US shop. The decimal sign is a
    dot or a comma; a comma before exactly three digits is refused, because it may part thousands.

    Raises:
        LengthRefused: with what is wrong and what would be right.
    """
    cleaned = " ".join(text.translate(_LOOKALIKES).replace("''", '"').lower().split())
    right = f"Write a length such as {example(units)}."
    if not cleaned or len(cleaned) > _MOST_CHARACTERS:
        raise LengthRefused("Too long for a length." if cleaned else "Nothing is typed.", right)
    if feet := _FEET.fullmatch(cleaned):
        inches = _number(feet["inches"], right)
        if inches >= 12:
            raise LengthRefused("Inches after feet run from 0 to below 12.", right)
        return _signed(feet["sign"], int(feet["feet"]) * MM_PER_FOOT + inches * MM_PER_INCH, right)
    plain = _PLAIN.fullmatch(cleaned)
    if plain is None:
        raise LengthRefused(f"“{text.strip()}” is no length.", right)
    unit = (plain["unit"] or ("in" if units == "us" else "mm")).strip()
    if unit not in _MM:
        raise LengthRefused(f"“{unit}” is no unit of length here.", right)
    return _signed(plain["sign"], _number(plain["number"], right) * _MM[unit], right)


def _number(text: str, right: str) -> float:
    if _THOUSANDS.fullmatch(text):
        joined, pointed = text.replace(",", ""), text.replace(",", ".")
        raise LengthRefused(f"{text} may be read in two ways.", f"Write {joined} or {pointed}.")
    if "/" not in text:
        return float(text.replace(",", "."))
    whole, _, part = text.replace("-", " ").rpartition(" ")
    if int(part.partition("/")[2]) == 0:
        raise LengthRefused(f"{text} divides by zero.", right)
    return float((int(whole) if whole else 0) + Fraction(part))


def _signed(sign: str, mm: float, right: str) -> float:
    if not math.isfinite(mm):
        raise LengthRefused("This number is too large.", right)
    return -mm if sign == "-" else mm


def say_length(mm: float, units: Units) -> str:
    """A length on the floor that reads back as the same whole millimetre.

    ``4600`` is ``4600 mm`` or ``15 ft 1.1 in``: inches carry as few decimals as still tell the
    millimetre.
    """
    if units != "us":
        return f"{mm:.0f} mm"
    sign, size = ("-" if mm < 0 else ""), abs(round(mm))
    inches = size / MM_PER_INCH
    for digits in range(4):
        feet, rest = divmod(round(inches, digits), 12)
        if abs((feet * 12 + rest) * MM_PER_INCH - size) < 0.49:
            break
    words = f"{rest:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{rest:.0f}"
    if not feet:
        return f"{sign}{words} in"
    return f"{sign}{feet:.0f} ft" + (f" {words} in" if rest else "")
