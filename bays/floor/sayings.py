"""Sentences a service writer can read aloud, made from what was found on the floor."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence, Set
from dataclasses import dataclass
from datetime import datetime

import shapely

from bays.floor.check import WALL, Shortfall
from bays.floor.ground import DriveFact, FloorVerdict
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.remedies import Emptying, Removal
from bays.floor.shapes import Part
from bays.floor.words import (
    AND,
    Units,
    floor_size,
    listed,
    names_together,
    short_length,
    spare_length,
    to_spare,
)

MOST_WAYS_SAID = 3

_SIDE_WORDS = {
    "front": "in front",
    "rear": "behind",
    "left": "on the left",
    "right": "on the right",
}
_NOT_KNOWN = {
    ("level", "too_close"): "Whether the floor is level enough there is too close to call.",
    ("light", "too_close"): "Whether there is light enough there is too close to call.",
    ("level", "overdue"): "The survey of how level the floor is there is overdue.",
    ("light", "overdue"): "The survey of the light there is overdue.",
    ("level", ""): "How level the floor is was not surveyed there.",
    ("light", ""): "The light was not surveyed there.",
}


def plain_clock(moment: datetime) -> str:
    """A moment where nobody said how the shop tells the time."""
    return f"{moment:%Y-%m-%d %H:%M}"


@dataclass(frozen=True)
class Phone:
    """How one shop says what its floor can do: its plan, its units and its clock."""

    plan: FloorPlan
    units: Units = "metric"
    clock: Callable[[datetime], str] = plain_clock

    def fits(self, where: str, spare_mm: float) -> str:
        """ "It fits in Bay 2 with 34 cm to spare."; "It just fits in Bay 2."."""
        if not spare_length(spare_mm, self.units):
            return f"It just fits{where}."
        return f"It fits{where} with {to_spare(spare_mm, self.units)}."

    def if_empty(
        self, ways: Sequence[Emptying], where: str = "", own: Set[ZoneId] = frozenset()
    ) -> str:
        """ "It fits if Bay 3 is empty (from 14:10 it is)."; of the bay's ``own`` zones "once it is
        empty"."""
        said = [self._if_empty(way, own) for way in ways[:MOST_WAYS_SAID]]
        spare = ""
        if len(ways) == 1 and spare_length(ways[0].placement.margin_mm, self.units):
            spare = f", with {to_spare(ways[0].placement.margin_mm, self.units)}"
        return f"It fits{where} {listed(said, 'or')}{spare}."

    def _if_empty(self, way: Emptying, own: Set[ZoneId]) -> str:
        names, many = self.zones(way.zones)
        are = "are" if many else "is"
        if way.zones <= own:
            since = f" (from {self.clock(way.free_at)} on)" if way.free_at else ""
            return f"once it is empty{since}"
        if way.free_at is None:
            return f"if {names} {are} empty"
        they = "they are" if many else "it is"
        return f"if {names} {are} empty (from {self.clock(way.free_at)} {they})"

    def if_moved(self, ways: Iterable[Removal]) -> str:
        """ "rack R2 or bench B1"; "" where nothing that can be moved would help."""
        names = [self.thing(way.obstacle) for way in ways if way.movable]
        return listed(names[:MOST_WAYS_SAID], "or")

    def short(self, shortfalls: Sequence[Shortfall]) -> str:
        """ "short by 12 cm behind, against column C4"."""
        said = [
            f"{short_length(short.by_mm, self.units)} {_SIDE_WORDS[short.side]}"
            + (
                f", against {listed([self.thing(t) for t in short.against])}"
                if short.against
                else ""
            )
            for short in shortfalls
        ]
        return f"short by {', and '.join(said)}"

    def no_floor(self, parts: Sequence[Part], where: str, *, proven: bool) -> str:
        """That nothing is there, or only that nothing was found."""
        west, south, east, north = shapely.union_all([part.polygon for part in parts]).bounds
        size = floor_size(east - west, north - south, self.units)
        if proven:
            return f"The shop has no floor of {size} {where}."
        return f"No floor of {size} was found {where}; that is no proof that there is none."

    def floor(self, verdict: FloorVerdict) -> str:
        """What is said of the floor there, short where nothing is known."""
        if verdict.verdict != "unknown":
            return verdict.says
        known = _NOT_KNOWN.get((verdict.of, verdict.reason))
        return known or _NOT_KNOWN[verdict.of, ""]

    def drive(self, fact: DriveFact) -> str:
        """What has to be known before somebody drives in; "" where nothing has."""
        if fact.drivable == "yes":
            return "It passes the door only in reverse." if fact.only_in_reverse else ""
        if fact.zones_to_empty:
            names, many = self.zones(fact.zones_to_empty)
            while_taken = f"while {names} {'are' if many else 'is'} occupied"
            if fact.drivable == "impossible":
                return f"It cannot be driven there from the door {while_taken}."
            return f"No way there from the door was found {while_taken}."
        if fact.drivable == "impossible":
            return "It cannot be driven there from the door."
        return "No way there from the door was found; that is no proof that there is none."

    def zones(self, zones: Set[ZoneId]) -> tuple[str, bool]:
        """Zones by name, "Bays 1 and 2", and whether they are several."""
        names = [self.plan.zones[zone].name for zone in self.plan.zones if zone in zones]
        return listed(names_together(names, AND)), len(names) != 1

    def place(self, zones: Set[ZoneId]) -> str:
        """Where it stands, open floor left out where there is more to say: "Bays 1 and 2"."""
        named = {zone for zone in zones if self.plan.zones[zone].kind != "rest"}
        return self.zones(named or zones)[0]

    def thing(self, thing: str) -> str:
        """What stands in the way: "the wall", "column C4", "rack", "Bay 3"."""
        if thing == WALL:
            return "the wall"
        kind = next((one.kind for one in self.plan.obstacles if one.id == thing), None)
        if kind is None:
            return self.plan.zones[ZoneId(thing)].name
        kind = kind.replace("_", " ")
        named = thing.lower().startswith(kind.lower())
        return f"the {thing}" if named or kind.lower() == "room" else f"{kind} {thing}"


def inline(sentence: str) -> str:
    """A sentence as the end of another: "The floor slopes." becomes "the floor slopes"."""
    said = sentence.strip().rstrip(".")
    return said[:1].lower() + said[1:]
