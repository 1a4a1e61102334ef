"""Distances on the floor as the shop says them: how much, on which side, from what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bays import floor
from bays.floor.sayings import Phone
from bays.floor.words import Units, listed, short_length, spare_length

IN_WORDS = {
    "front": "in front",
    "rear": "behind",
    "left": "on the left",
    "right": "on the right",
}


@dataclass(frozen=True)
class FloorNames:
    """What things on the floor are called here; ``others`` names vehicles by what they are told
    under."""

    plan: floor.FloorPlan
    others: Mapping[str, str]

    def of(self, thing: str) -> str:
        """ "the wall", "column C4", "Bay 3, taken by 2901"."""
        return self.others.get(thing) or Phone(self.plan).thing(thing)


def shop_units(units: str) -> Units:
    return "us" if units == "us" else "metric"


def gap_words(gap_mm: float, units: Units) -> str:
    """A distance rounded down, so that it is never said too large: ``70 cm``."""
    return spare_length(gap_mm, units) or "0"


def shortfall_words(short: floor.Shortfall, names: FloorNames, units: Units) -> str:
    """``12 cm short behind, against column C4``."""
    against = listed([names.of(thing) for thing in short.against])
    return f"{short_length(short.by_mm, units)} short {IN_WORDS[short.side]}, against {against}"


def taken_words(plan: floor.FloorPlan, zones: Iterable[str]) -> str:
    """Names of zones in the plan's order."""
    wanted = set(zones)
    return listed([zone.name for zone in plan.zones.values() if zone.id in wanted])
