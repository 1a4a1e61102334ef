"""What is asked of the floor, and the answer with its facts and its words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

from bays.floor.check import Shortfall
from bays.floor.clearance import needed_margin_mm
from bays.floor.ground import DriveFact, FindWays, FloorVerdict, Judge, drive_fact
from bays.floor.placement import Placement, Pose, options
from bays.floor.plan import Bay, FloorPlan, ZoneId
from bays.floor.remedies import Emptying, FreeFrom, Removal, in_some_bay
from bays.floor.sayings import Phone
from bays.floor.shapes import Part

Outcome = Literal["fits", "turned", "occupied", "floor_unfit", "too_small", "not_found", "no_bays"]
# Ways in are looked for to at most so many places: each may take a flood of the floor.
MOST_DRIVEN_TO = 3


@dataclass(frozen=True)
class WhyNot:
    """``answer`` is said in a sentence or two, ``remarks`` are what has to be known besides (floor
    not surveyed, reverse in); ``says`` is all of it. The rest are its facts.

    ``outcome``: it "fits" as things stand; it fits only "turned" (the other way round, or at
    another heading than asked); the place is "occupied"; it would fit but the floor is unfit
    ("floor_unfit": not level or not light enough); it is "too_small" a shop; "not_found";
    "no_bays". ``fits`` is where it fits as things stand, ``spare_mm`` the room to spare there, of
    which ``needs_mm`` are for the step's setting-up tolerances.

    ``zones_to_empty`` are the smallest sets of occupied zones that would have to become free,
    ``emptying`` the same with times and places, soonest first. ``shortfalls`` are told at ``pose``
    (standing in ``bay``), in the empty shop: drawing the clear zone in by all of them makes it fit
    there. ``removals`` are things that can be moved, of which one
    would do. ``turned_round`` tells
    whether it fits the other way round, ``None`` where that was not a question. ``floor`` judges
    the floor at the place told of, ``drive`` the way there.

    ``proven`` means that every pose and heading asked for was excluded (or allowed) exactly.
    """

    answer: str
    shortfalls: tuple[Shortfall, ...] = ()
    zones_to_empty: tuple[frozenset[ZoneId], ...] = ()
    proven: bool = True
    outcome: Outcome = "too_small"
    fits: Placement | None = None
    spare_mm: float | None = None
    needs_mm: float = 0.0
    emptying: tuple[Emptying, ...] = ()
    removals: tuple[Removal, ...] = ()
    turned_round: bool | None = None
    pose: Pose | None = None
    bay: str | None = None
    floor: tuple[FloorVerdict, ...] = ()
    drive: DriveFact | None = None
    remarks: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """The answer with everything that has to be known besides, to be read aloud."""
        return " ".join((self.answer, *self.remarks))


@dataclass(frozen=True)
class Asked:
    """One question to the floor, with what the asker knows of the shop's day."""

    plan: FloorPlan
    parts: tuple[Part, ...]
    headings: tuple[float, ...] | None
    occupied: frozenset[ZoneId]
    phone: Phone
    bays: frozenset[str] | None = None
    square: bool = False
    free_from: FreeFrom | None = None
    judge: Judge | None = None
    find_ways: FindWays | None = None
    _verdicts: dict[Placement, tuple[FloorVerdict, ...]] = field(default_factory=dict, repr=False)

    @cached_property
    def needs_mm(self) -> float:
        """Room that the step's setting-up tolerances need."""
        return needed_margin_mm(self.parts)

    @property
    def bays_asked(self) -> list[Bay]:
        return [bay for bay in self.plan.bays if self.bays is None or bay.id in self.bays]

    def in_bays(self, found: Iterable[Placement]) -> tuple[Placement, ...]:
        """The placements that have to do with the bays asked of."""
        return tuple(one for one in found if in_some_bay(one, self.bays))

    def verdicts(self, placement: Placement) -> tuple[FloorVerdict, ...]:
        """The floor under a placement, judged once."""
        if self.judge is None:
            return ()
        if placement not in self._verdicts:
            self._verdicts[placement] = tuple(self.judge(placement))
        return self._verdicts[placement]

    def refused(self, placement: Placement) -> bool:
        """Whether the floor there is known to be unfit."""
        return any(one.verdict == "no" for one in self.verdicts(placement))

    def fit_floor(self, found: Iterable[Placement]) -> list[Placement]:
        return [placement for placement in found if not self.refused(placement)]

    def best_now(self, found: Iterable[Placement]) -> Placement | None:
        """The first placement that is free on fit floor: well-known floor before unknown, and
        where ways are asked for, places with a way in before others."""
        free = self.fit_floor(options(found, self.occupied))
        free.sort(key=lambda one: any(v.verdict == "unknown" for v in self.verdicts(one)))
        if self.find_ways is None:
            return next(iter(free), None)
        driven = (one for one in free[:MOST_DRIVEN_TO] if self._drive(one).drivable == "yes")
        return next(driven, next(iter(free), None))

    def fitting(self, placement: Placement, where: str, *, turned: bool | None = None) -> WhyNot:
        """The good answer, with what has to be known of the floor there and the way in."""
        answer = self.phone.fits(where, placement.margin_mm)
        return self.with_place(WhyNot(answer, outcome="fits", turned_round=turned), placement)

    def with_place(self, told: WhyNot, placement: Placement) -> WhyNot:
        """An answer with the facts of the place where it fits now."""
        return replace(
            told,
            fits=placement,
            spare_mm=placement.margin_mm,
            needs_mm=self.needs_mm,
            floor=self.verdicts(placement),
            drive=self._drive(placement) if self.find_ways else None,
            remarks=self._remarks(placement),
        )

    def emptied(
        self,
        ways: Sequence[Emptying],
        where: str = "",
        own: Set[ZoneId] = frozenset(),
        *,
        proven: bool,
    ) -> WhyNot:
        """What would have to be empty, and from when it is; ``own`` are the zones of ``where``."""
        first = ways[0].placement
        return WhyNot(
            self.phone.if_empty(ways, where, own),
            outcome="occupied",
            zones_to_empty=tuple(way.zones for way in ways),
            emptying=tuple(ways),
            needs_mm=self.needs_mm,
            floor=self.verdicts(first),
            proven=proven,
            remarks=self._remarks(first, drive=False),
        )

    def unfit(self, placement: Placement, where: str) -> WhyNot:
        """It would fit, but not on that floor. Another pose of the same zones was not judged."""
        refused = [one for one in self.verdicts(placement) if one.verdict == "no"]
        would = self.phone.fits(where, placement.margin_mm).rstrip(".").replace(
            "It fits", "It would fit", 1
        ).replace("It just fits", "It would just fit", 1)  # fmt: skip
        reasons = " ".join(self.phone.floor(one) for one in refused)
        return WhyNot(
            f"{would}, but {reasons[:1].lower()}{reasons[1:]}",
            outcome="floor_unfit",
            needs_mm=self.needs_mm,
            pose=placement.pose,
            floor=self.verdicts(placement),
            proven=False,
        )

    def _remarks(self, placement: Placement, *, drive: bool = True) -> tuple[str, ...]:
        said = [
            self.phone.floor(one) for one in self.verdicts(placement) if one.verdict == "unknown"
        ]
        if drive and self.find_ways is not None:
            said.append(self.phone.drive(self._drive(placement)))
        return tuple(one for one in said if one)

    def _drive(self, placement: Placement) -> DriveFact:
        assert self.find_ways is not None
        return drive_fact(self.find_ways, placement, self.occupied - placement.zones)
