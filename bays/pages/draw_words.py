"""Faults of a drawing in the words of the people who draw it."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from bays.floor import PlanFault
from bays.lengths import Units, say_length

_PLACE = re.compile(r"(outline|holes|obstacles|doors|zones|bays)(?:\[(\d+)\])?")
_OTHER = re.compile(r"(holes|obstacles|doors|zones|bays)\[(\d+)\]")
_WITH_ID = re.compile(r"(zones\[\d+\]) \([^)]*\)")
_LENGTH = re.compile(r"(-?\d+) mm\b")
_AREA = re.compile(r"(\d+(?:\.\d+)?(?:e-?\d+)?) m²")
_NEAR = re.compile(r"\((-?\d+(?:\.\d+)?), (-?\d+(?:\.\d+)?)\)")
_SQUARE_FEET = 10.763910417  # in a square metre: (1 / 0.3048)²
_PARTS = {
    "id": "the code", "name": "the name", "kind": "the kind", "from": "the first end",
    "to": "the other end", "height_mm": "the height", "zones": "the zones", "centre": "the middle",
    "heading_deg": "the heading",
}  # fmt: skip


@dataclass(frozen=True)
class FaultLine:
    """One fault in a sentence; ``ref`` names the thing it is about, empty where it is none."""

    number: int
    says: str
    right: str
    ref: str
    marks: tuple[Any, ...] = ()


def fault_lines(
    drawing: Mapping[str, Any], faults: Sequence[PlanFault], units: Units
) -> list[FaultLine]:
    """Each fault in words, numbered as the marks in the picture are."""
    return [
        FaultLine(
            number=number,
            says=_sentence(drawing, fault, units),
            right=_in_units(fault.right, units),
            ref=ref_of(fault.path),
            marks=fault.marks,
        )
        for number, fault in enumerate(faults, start=1)
    ]


def ref_of(path: str) -> str:
    """``zones.2`` of ``zones[2].polygon``."""
    found = _PLACE.match(path)
    if found is None:
        return ""
    return f"{found[1]}.{found[2]}" if found[2] is not None else found[1]


def thing_name(drawing: Mapping[str, Any], ref: str) -> str:
    """What the shop calls a thing: "Bay 3", "column C1", "door D1", "hole 2"."""
    key, _, number = ref.partition(".")
    if key == "outline":
        return "the outline"
    rows = drawing.get(key, [])
    if not number.isdecimal() or int(number) >= len(rows):
        return "the plan"
    row, order = rows[int(number)], int(number) + 1
    if key == "holes":
        return f"hole {order}"
    if key == "obstacles":
        kind = row["kind"] or "obstacle"
        return str(row["id"]) if kind in row["id"] else f"{kind} {row['id']}".strip()
    if key == "doors":
        named = str(row["id"] or order)
        return named if "door" in named.lower() else f"door {named}"
    return str(row["name"] or row["id"] or f"{key[:-1]} {order}")


def _sentence(drawing: Mapping[str, Any], fault: PlanFault, units: Units) -> str:
    says = _WITH_ID.sub(lambda found: found[1], fault.says)
    says = _OTHER.sub(lambda found: thing_name(drawing, ref_of(found[0])), says)
    subject = _subject(drawing, fault.path)
    return _capital(f"{subject} {_in_units(says, units)}.")


def _subject(drawing: Mapping[str, Any], path: str) -> str:
    ref = ref_of(path)
    if not ref:
        return "the name of the plan" if path == "name" else path or "the drawing"
    name = thing_name(drawing, ref)
    rest = _PLACE.sub("", path, count=1).lstrip(".")
    corner = re.search(r"\[(\d+)\]", rest)
    part = _PARTS.get(re.split(r"[.\[]", rest)[0], "")
    if part:
        return f"{part} of {name}"
    return f"corner {int(corner[1]) + 1} of {name}" if corner else name


def _in_units(words: str, units: Units) -> str:
    words = _NEAR.sub(
        lambda at: f"({say_length(float(at[1]), units)}, {say_length(float(at[2]), units)})", words
    )
    if units != "us":
        return words
    words = _LENGTH.sub(lambda found: say_length(float(found[1]), units), words)
    return _AREA.sub(lambda found: f"{float(found[1]) * _SQUARE_FEET:.3g} sq ft", words)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
