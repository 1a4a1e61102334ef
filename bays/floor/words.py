"""How the floor's answers are said to people."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

from bays.floor.plan import FloorPlan, ZoneId

Units = Literal["metric", "us"]
AND = " and "

MM_PER_INCH = 25.4


def zone_label(plan: FloorPlan, zones: Iterable[ZoneId]) -> str:
    """What is taken, as it is called in the shop: "Bay 1", "Bays 1 + 2", "Bay 1 + East aisle".

    Open floor is left out where there is anything else to say.
    """
    taken = [plan.zones[zone] for zone in plan.zones if zone in set(zones)]
    named = [zone.name for zone in taken if zone.kind != "rest"]
    return " + ".join(names_together(named or [zone.name for zone in taken], " + "))


def names_together(names: Sequence[str], link: str) -> list[str]:
    """Names that share all but their last word are said once: "Bay 1", "Bay 2" -> "Bays 1 + 2".

    Linked by ``AND`` they are said as people do: "Bays 1, 2 and 3".
    """
    groups: dict[str, list[str]] = {}
    for name in names:
        stem, _, last = name.rpartition(" ")
        shared = bool(stem) and (last.isdigit() or len(last) == 1)
        groups.setdefault(stem if shared else name, []).append(last if shared else "")
    said: list[str] = []
    for stem, numbers in groups.items():
        if len(numbers) == 1:
            said.append(f"{stem} {numbers[0]}".strip())
        elif not any(numbers):
            said.append(stem)
        else:
            numbered = [number for number in numbers if number]
            said.append(f"{stem}s {listed(numbered) if link == AND else link.join(numbered)}")
    return said


def listed(items: Sequence[str], link: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {link} {items[-1]}"


# Answers are searched to this; a longer length is not said on its account.
FORGIVEN_MM = 0.25
# Margins are told less the touching allowance; room is not said smaller on its account.
TOUCHED_MM = 0.02


def short_length(mm: float, units: Units) -> str:
    """A shortfall, rounded up so that it is not said too small by more than 0.25 mm."""
    if units == "us":
        return f"{_up(mm, MM_PER_INCH / 4) / MM_PER_INCH:g} in"
    if mm < 20:
        return f"{_up(mm, 1):g} mm"
    if mm < 3000:
        return f"{_up(mm, 10) / 10:g} cm"
    return f"{_up(mm, 100) / 1000:g} m"


def spare_length(mm: float, units: Units) -> str:
    """Room left over, rounded down; "" where it is too little to be said."""
    if units == "us":
        step = MM_PER_INCH if mm >= MM_PER_INCH else MM_PER_INCH / 4
        inches = _down(mm, step) / MM_PER_INCH
        return f"{inches:g} in" if inches > 0 else ""
    if mm < 10:
        return f"{_down(mm, 1):g} mm" if mm >= 1 else ""
    if mm < 3000:
        return f"{_down(mm, 10) / 10:g} cm"
    return f"{_down(mm, 100) / 1000:g} m"


def to_spare(mm: float, units: Units) -> str:
    """ "34 cm to spare"; "no room to spare" for less than a millimetre or a quarter inch."""
    said = spare_length(mm, units)
    return f"{said} to spare" if said else "no room to spare"


def floor_size(length_mm: float, width_mm: float, units: Units) -> str:
    """Length by width, each rounded up to a tenth of a metre or foot."""
    unit, name = (12 * MM_PER_INCH, "ft") if units == "us" else (1000.0, "m")
    length, width = (_up(mm, unit / 10) / unit for mm in (length_mm, width_mm))
    return f"{length:.1f} x {width:.1f} {name}".replace(".0 ", " ")


def _up(mm: float, step_mm: float) -> float:
    return math.ceil((mm - FORGIVEN_MM) / step_mm) * step_mm


def _down(mm: float, step_mm: float) -> float:
    return math.floor((mm + TOUCHED_MM) / step_mm) * step_mm
