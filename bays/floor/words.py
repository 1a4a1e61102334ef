"""How the floor's answers are said to people."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

from bays.floor.plan import FloorPlan, ZoneId

Units = Literal["metric", "us"]

MM_PER_INCH = 25.4


def zone_label(plan: FloorPlan, zones: Iterable[ZoneId]) -> str:
    """What is taken, as it is called in the shop: "Bay 1", "Bays 1 + 2", "Bay 1 + East aisle".

    Open floor is left out where there is anything else to say.
    """
    taken = [plan.zones[zone] for zone in plan.zones if zone in set(zones)]
    named = [zone.name for zone in taken if zone.kind != "rest"]
    return " + ".join(names_together(named or [zone.name for zone in taken], " + "))


def names_together(names: Sequence[str], link: str) -> list[str]:
    """Names that share all but their last word are said once: "Bay 1", "Bay 2" -> "Bays 1 + 2"."""
    groups: dict[str, list[str]] = {}
    for name in names:
        stem, _, last = name.rpartition(" ")
        numbered = bool(stem) and (last.isdigit() or len(last) == 1)
        groups.setdefault(stem if numbered else name, []).append(last if numbered else "")
    said: list[str] = []
    for stem, numbers in groups.items():
        if len(numbers) == 1:
            said.append(f"{stem} {numbers[0]}".strip())
        elif not any(numbers):
            said.append(stem)
        else:
            said.append(f"{stem}s " + link.join(number for number in numbers if number))
    return said


def listed(items: Sequence[str], link: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {link} {items[-1]}"


# Answers are searched to this; a longer length is not said on its account.
FORGIVEN_MM = 0.25


def short_length(mm: float, units: Units) -> str:
    """A shortfall, rounded up so that it is not said too small by more than 0.25 mm."""
    if units == "us":
        return f"{_up(mm, MM_PER_INCH / 4) / MM_PER_INCH:g} in"
    if mm < 20:
        return f"{_up(mm, 1):g} mm"
    if mm < 3000:
        return f"{_up(mm, 10) / 10:g} cm"
    return f"{_up(mm, 100) / 1000:g} m"


def floor_size(length_mm: float, width_mm: float, units: Units) -> str:
    """Length by width, each rounded up to a tenth of a metre or foot."""
    unit, name = (12 * MM_PER_INCH, "ft") if units == "us" else (1000.0, "m")
    length, width = (_up(mm, unit / 10) / unit for mm in (length_mm, width_mm))
    return f"{length:.1f} x {width:.1f} {name}".replace(".0 ", " ")


def _up(mm: float, step_mm: float) -> float:
    return math.ceil((mm - FORGIVEN_MM) / step_mm) * step_mm
