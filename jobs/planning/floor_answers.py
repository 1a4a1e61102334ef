"""Where each calibration of a booking fits, with how much to spare, or what would help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from bays import floor
from bays.convert.moments import shop_clock
from bays.floor.ground import FloorVerdict, Judge, verdict_of
from bays.floor.words import Units
from bays.selectors.floor import CurrentFloor
from bays.selectors.free_floor import FreeFloor, free_floor
from jobs.planning.ground import ground_of
from jobs.planning.request import BookingCase
from jobs.planning.space import clear_zone_of
from jobs.procedures import ProcedureContent
from shopcal.accounts.models import Shop

# Asked of the shop as it is, not of a moment.
NOWHERE = ("too_small", "not_found", "no_bays", "floor_unfit")


@dataclass(frozen=True)
class FloorAnswer:
    """What is said of one calibration's floor, asked of the moment ``at``."""

    name: str
    told: floor.WhyNot
    at: datetime

    @property
    def nowhere(self) -> bool:
        """Whether no waiting helps: the shop has no floor for it."""
        return self.told.outcome in NOWHERE


@dataclass(frozen=True)
class _Wanted:
    content: ProcedureContent
    parts: tuple[floor.Part, ...]
    minutes: int


def floor_answers(
    case: BookingCase, current: CurrentFloor, shop: Shop, now: datetime
) -> tuple[FloorAnswer, ...]:
    """One answer for each calibration on the floor, as of the vehicle's arrival or now.

    An answer is asked of the first moment at which the work could begin in opening hours; zones
    held by anybody while it lasts count as occupied.
    """
    wanted = _wanted(case)
    if not wanted:
        return ()
    at = max(now, case.request.arrives_at or now)
    times = free_floor(shop, at)
    return tuple(_answer(one, current, shop, now, times, at) for one in wanted)


def bay_answers(
    case: BookingCase, current: CurrentFloor, shop: Shop, now: datetime
) -> tuple[tuple[str, tuple[FloorAnswer, ...]], ...]:
    """For each calibration, by name: what is said of every bay it might stand in.

    ``FloorAnswer.name`` is the bay's. Joined bays are left out where each zone is a bay itself.
    """
    at = max(now, case.request.arrives_at or now)
    wanted = _wanted(case)
    times = free_floor(shop, at)
    return tuple(
        (
            one.content.name,
            tuple(
                FloorAnswer(bay.name, told.told, told.at)
                for bay in _named_bays(current.plan, one.content)
                for told in [_answer(one, current, shop, now, times, at, bay=bay.id)]
            ),
        )
        for one in wanted
    )


def judge_by_surveys(current: CurrentFloor, content: ProcedureContent) -> Judge:
    """How level and light the floor is under a placement, by what the procedure asks."""

    def judge(placement: floor.Placement) -> Sequence[FloorVerdict]:
        heading = placement.pose.heading_deg
        there = ground_of(current.surveys, placement.polygon, heading, content)
        told = []
        if there.level is not None:
            told.append(verdict_of("level", there.level.found))
        if there.light is not None:
            told.append(verdict_of("light", there.light.found))
        return told

    return judge


def _wanted(case: BookingCase) -> list[_Wanted]:
    shape = case.vehicle.shape
    if shape is None:
        return []
    return [
        _Wanted(
            step.needed.content,
            floor.resolve(clear_zone_of(step.needed.content), shape),
            step.minutes,
        )
        for step in case.steps
        if step.needed is not None and not step.needed.content.road
    ]


def _answer(
    wanted: _Wanted,
    current: CurrentFloor,
    shop: Shop,
    now: datetime,
    times: FreeFloor,
    at: datetime,
    *,
    bay: str | None = None,
) -> FloorAnswer:
    begins = times.begins(at, wanted.minutes)
    units: Units = "us" if shop.units == "us" else "metric"
    told = floor.why_not(
        current.plan,
        wanted.parts,
        None,
        times.occupied(begins, wanted.minutes),
        at=bay,
        square=True,
        bays=_bays_for(current.plan, wanted.content),
        units=units,
        free_from=lambda zones: times.free_from(zones, begins, wanted.minutes),
        clock=shop_clock(shop.zone, now),
        judge=judge_by_surveys(current, wanted.content),
    )
    return FloorAnswer(wanted.content.name, told, begins)


def _named_bays(plan: floor.FloorPlan, content: ProcedureContent) -> list[floor.Bay]:
    """Bays for a step, without joined ones whose zones are bays themselves."""
    alone = {zone for bay in plan.bays if len(bay.zones) == 1 for zone in bay.zones}
    fit = _bays_for(plan, content)
    return [
        bay
        for bay in plan.bays
        if bay.id in fit and not (len(bay.zones) > 1 and alone.issuperset(bay.zones))
    ]


def _bays_for(plan: floor.FloorPlan, content: ProcedureContent) -> frozenset[str]:
    """Bays in which a step may be done: those of the kind its procedure asks for."""
    kind = content.zone_kind
    return frozenset(
        bay.id
        for bay in plan.bays
        if kind is None or any(plan.zones[zone].kind == kind for zone in bay.zones)
    )
