"""A question about placements, read from what a program sent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from bays import floor
from bays.convert.moments import shop_clock
from bays.floor.ground import FindWays, FloorVerdict, Judge, verdict_of, ways_from_doors
from bays.floor.remedies import FreeFrom
from bays.floor.words import Units
from bays.selectors.floor import CurrentFloor
from bays.selectors.free_floor import FreeFloor, free_floor
from bays.selectors.surveys import level_there, light_there
from shopcal.accounts.models import Shop
from shopcal.errors import FieldError, Invalid

FARTHEST_ASKED = timedelta(days=3 * 366)


@dataclass(frozen=True)
class Question:
    """Everything :func:`bays.floor.why_not` is asked with."""

    plan: floor.FloorPlan
    parts: tuple[floor.Part, ...]
    headings: tuple[float, ...] | None
    occupied: frozenset[floor.ZoneId]
    at: str | floor.Pose | None
    square: bool
    units: Units
    free_from: FreeFrom
    shop: Shop
    judge: Judge | None
    find_ways: FindWays | None

    def answer(self) -> floor.WhyNot:
        return floor.why_not(
            self.plan,
            self.parts,
            self.headings,
            self.occupied,
            at=self.at,
            square=self.square,
            units=self.units,
            free_from=self.free_from,
            clock=shop_clock(self.shop.zone, timezone.now()),
            judge=self.judge,
            find_ways=self.find_ways,
        )

    def free(self, told: floor.WhyNot) -> list[floor.Placement]:
        """Every placement that is free, on floor that is fit; of one bay or pose the one found."""
        if self.at is not None:
            return [] if told.fits is None else [told.fits]
        found = floor.placements(self.plan, self.parts, self.headings)
        return [one for one in floor.options(found, self.occupied) if not self._refused(one)]

    def _refused(self, placement: floor.Placement) -> bool:
        return self.judge is not None and any(v.verdict == "no" for v in self.judge(placement))


def question(shop: Shop, current: CurrentFloor, given: Mapping[str, Any]) -> Question:
    """What is asked, with what the shop's holds and surveys know of it.

    Raises:
        Invalid: with paths that lead from the request's root.
    """
    plan = current.plan
    _near(given["at"], "at")
    said = _zones(plan, given["occupied_zones"])
    times = None if given["at"] is None else free_floor(shop, given["at"])
    held = times.occupied(given["at"], given["minutes"]) if times else frozenset()
    return Question(
        plan=plan,
        parts=_parts(given["vehicle"], given["clear_zone"]),
        headings=None if given["headings_deg"] is None else tuple(given["headings_deg"]),
        occupied=said | (held & plan.zones.keys()),
        at=_where(plan, given),
        square=given["square"],
        units="us" if shop.units == "us" else "metric",
        free_from=_free_from(said, _times(plan, given["free_from"]), times, given),
        shop=shop,
        judge=_judge(current, given["level"], given["light"]),
        find_ways=_ways(plan, given),
    )


def _free_from(
    said: frozenset[floor.ZoneId],
    from_when: Mapping[floor.ZoneId, datetime],
    times: FreeFloor | None,
    given: Mapping[str, Any],
) -> FreeFrom:
    """By the times given for zones said to be occupied, then by the holds where they are asked."""

    def free_from(zones: frozenset[floor.ZoneId]) -> datetime | None:
        mine = zones & said
        if not mine <= from_when.keys():
            return None
        moments = [from_when[zone] for zone in mine]
        if times is None:
            return max(moments, default=None)
        return times.free_from(zones, max([given["at"], *moments]), given["minutes"])

    return free_from


def _where(plan: floor.FloorPlan, given: Mapping[str, Any]) -> str | floor.Pose | None:
    """The bay or the pose that is asked of.

    Raises:
        Invalid: more than one place is asked of, or a bay the plan does not have.
    """
    bay, pose = given["at_bay"], given["at_pose"]
    asked = [name for name in ("at_bay", "at_pose", "headings_deg") if given[name] is not None]
    if len(asked) > 1:
        raise _wrong(asked[-1], f"Cannot be asked together with {asked[0]}.")
    if bay is not None and plan.bay(bay) is None:
        raise _wrong("at_bay", f"“{bay}” is no bay of the floor plan in force.")
    return floor.Pose(**pose) if pose is not None else bay


def _judge(
    current: CurrentFloor, level: dict[str, Any] | None, light: dict[str, Any] | None
) -> Judge | None:
    if level is None and light is None:
        return None

    def judge(placement: floor.Placement) -> list[FloorVerdict]:
        area, heading = placement.polygon, placement.pose.heading_deg
        told = []
        if level is not None:
            tolerance = floor.LevelTolerance(**level)
            found = level_there(current.surveys, area, heading, tolerance).found
            told.append(verdict_of("level", found))
        if light is not None:
            lit = light_there(current.surveys, area, floor.LightTolerance(**light)).found
            told.append(verdict_of("light", lit))
        return told

    return judge


def _ways(plan: floor.FloorPlan, given: Mapping[str, Any]) -> FindWays | None:
    radius = given["min_turning_radius_mm"]
    if radius is None:
        return None
    if not plan.doors:
        raise _wrong("min_turning_radius_mm", "The floor plan in force has no door to drive from.")
    return ways_from_doors(plan, floor.VehicleShape(**given["vehicle"]), radius)


def _parts(vehicle: dict[str, Any], clear_zone: Any) -> tuple[floor.Part, ...]:
    """Raises Invalid with paths that lead from the request's root."""
    try:
        shape = floor.VehicleShape(**vehicle)
    except floor.VehicleFaults as refused:
        raise _below("vehicle", refused) from refused
    try:
        zone = floor.ClearZone.from_content({"parts": []} if clear_zone is None else clear_zone)
        return floor.resolve(zone, shape)
    except floor.ClearZoneFaults as refused:
        raise _below("clear_zone", refused) from refused


def _below(path: str, refused: Invalid) -> Invalid:
    errors = [replace(e, path=f"{path}.{e.path}" if e.path else path) for e in refused.errors]
    return Invalid(refused.code, refused.title, errors=errors)


def _zones(plan: floor.FloorPlan, codes: Iterable[str]) -> frozenset[floor.ZoneId]:
    known = {str(zone): zone for zone in plan.zones}
    errors = [
        FieldError(f"occupied_zones[{i}]", f"“{code}” is no zone of the floor plan in force.")
        for i, code in enumerate(codes)
        if code not in known
    ]
    if errors:
        raise Invalid("invalid", "Some of what was given is wrong.", errors=errors)
    return frozenset(known[code] for code in codes)


def _times(plan: floor.FloorPlan, free_from: dict[str, datetime]) -> dict[floor.ZoneId, datetime]:
    unknown = [code for code in free_from if code not in plan.zones]
    if unknown:
        raise _wrong(f"free_from.{unknown[0]}", "This is no zone of the floor plan in force.")
    for code, moment in free_from.items():
        _near(moment, f"free_from.{code}")
    return {floor.ZoneId(code): moment for code, moment in free_from.items()}


def _near(moment: datetime | None, path: str) -> None:
    """Refuse a moment that no shop plans for: clocks and calendars end somewhere."""
    if moment is not None and abs(moment - timezone.now()) > FARTHEST_ASKED:
        raise _wrong(path, "This is more than three years away.")


def _wrong(path: str, says: str) -> Invalid:
    errors = [FieldError(path, says)]
    return Invalid("invalid", "Some of what was given is wrong.", errors=errors)
