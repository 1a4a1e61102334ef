"""Why not here? The answer for one bay, or for one pose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from shapely.geometry import Polygon

from bays.floor.check import PoseReport, check_pose
from bays.floor.headings import Search, search_placements
from bays.floor.nearest import NearMiss, nearest_miss, standings
from bays.floor.placement import Placement, Pose
from bays.floor.plan import Bay, ZoneId
from bays.floor.remedies import (
    Emptying,
    Removal,
    emptyings,
    movable,
    removals,
    sides_in_order,
    without,
)
from bays.floor.standing import held_sets, only_bay, placement_at, stand, turned_about
from bays.floor.telling import Asked, WhyNot


def in_one_bay(asked: Asked, bay: Bay) -> WhyNot:
    """Along the bay; the other way round; at an angle; with zones emptied; or what is short."""
    where = f" in {bay.name}"
    along, back = (_stands(asked, bay, heading) for heading in bay.headings_deg)
    now = asked.best_now(along)
    if now is not None:
        told = asked.fitting(now, where)
        remarks = (*_also(asked, bay, now), *told.remarks)
        return replace(told, bay=bay.id, remarks=remarks)
    search = _at_an_angle(asked, bay)
    now = asked.best_now(back) or asked.best_now(search.placements)
    found = [*along, *back, *_once_emptied(asked, bay), *search.placements]
    ways = emptyings(asked.fit_floor(found), asked.occupied, asked.free_from)
    if now is not None:
        return _otherwise(asked, bay, now, along)
    if ways:
        told = asked.emptied(ways, where, frozenset(bay.zones), proven=search.proven)
    elif found:
        told = asked.unfit(found[0], where)
    else:
        told = _short_in(asked, bay, proven=search.proven)
    return replace(told, bay=bay.id, turned_round=False)


def _at_an_angle(asked: Asked, bay: Bay) -> Search:
    """At any heading, unless only those along the bay are asked for: these are exact."""
    if asked.square:
        return Search((), proven=True)
    return search_placements(only_bay(asked.plan, bay), asked.parts)


def _once_emptied(asked: Asked, bay: Bay) -> list[Placement]:
    """Along the bay and back, with every smallest set of occupied zones emptied."""
    found = []
    for heading in bay.headings_deg:
        for held in held_sets(asked.plan, asked.parts, bay, heading, asked.occupied):
            left = asked.occupied - held
            found.append(stand(asked.plan, asked.parts, bay, heading, left))
    return [one for one in found if one is not None]


def _stands(asked: Asked, bay: Bay, heading_deg: float) -> list[Placement]:
    """At one heading: with zones occupied, and in the empty shop."""
    stands = (
        stand(asked.plan, asked.parts, bay, heading_deg, occupied)
        for occupied in (asked.occupied, frozenset[ZoneId]())
    )
    return [one for one in stands if one is not None]


def _also(asked: Asked, bay: Bay, placement: Placement) -> tuple[str, ...]:
    """Zones beside the bay that the clear zone reaches over; open floor goes without saying."""
    zones = asked.plan.zones
    others = {z for z in placement.zones - set(bay.zones) if zones[z].kind != "rest"}
    return (f"It takes {asked.phone.zones(others)[0]} as well.",) if others else ()


def at_one_pose(asked: Asked, pose: Pose) -> WhyNot:
    """As the vehicle stands; turned round on the spot; with zones emptied; or what is short."""
    plan, parts = asked.plan, asked.parts
    report = check_pose(plan, parts, pose, asked.occupied)
    here = placement_at(plan, parts, pose)
    if report.ok and not asked.refused(here):
        room = replace(here, margin_mm=report.margin_mm)
        return replace(asked.fitting(room, " here"), pose=pose, bay=_bay_of(here))
    empty = check_pose(plan, parts, pose)
    back = turned_about(pose, parts)
    turned = check_pose(plan, parts, back, asked.occupied)
    there = replace(placement_at(plan, parts, back), margin_mm=turned.margin_mm)
    turned_fits = turned.ok and not asked.refused(there)
    if report.ok:
        told = asked.unfit(here, " here")
    elif empty.ok:
        told = _emptied_here(asked, here)
    else:
        told = _short_here(asked, pose, empty, turned_fits=turned_fits)
    told = replace(told, pose=pose, bay=_bay_of(here), turned_round=turned_fits)
    return asked.with_place(replace(told, outcome="turned"), there) if turned_fits else told


def _emptied_here(asked: Asked, here: Placement) -> WhyNot:
    zones = here.zones & asked.occupied
    left = check_pose(asked.plan, asked.parts, here.pose, asked.occupied - zones)
    room = replace(here, margin_mm=left.margin_mm)
    free_at = asked.free_from(here.zones) if asked.free_from else None
    return asked.emptied([Emptying(zones, room, free_at)], " here", proven=True)


def _otherwise(asked: Asked, bay: Bay, now: Placement, along: list[Placement]) -> WhyNot:
    """It fits in the bay, but not the usual way round."""
    off = (now.pose.heading_deg - bay.heading_deg + 90.0) % 180.0 - 90.0
    round_ = abs(off) < 1e-6
    how = (
        "the vehicle is turned round" if round_ else f"it stands {abs(off):.0f}° off the bay's line"
    )
    room = asked.phone.fits("", now.margin_mm).rstrip(".").replace("It ", "then it ", 1)
    if along:
        told = _along(asked, bay, along[-1])
        told = replace(told, answer=f"{told.answer.rstrip('.')}, unless {how}: {room}.")
    else:
        miss = _miss(asked, bay, (bay.heading_deg,))
        shortfalls = tuple(sides_in_order(miss.shortfalls)) if miss else ()
        lack = asked.phone.short(shortfalls) if shortfalls else "too long or too wide"
        told = WhyNot(
            f"In {bay.name} it is {lack}, unless {how}: {room}.",
            shortfalls,
            pose=miss.pose if miss else None,
        )
    told = replace(told, outcome="turned", bay=bay.id, turned_round=round_)
    return asked.with_place(told, now)


def _along(asked: Asked, bay: Bay, along: Placement) -> WhyNot:
    """Why not along the bay, where the empty shop has room for that."""
    if asked.refused(along):
        return asked.unfit(along, f" in {bay.name}")
    ways = emptyings([along], asked.occupied, asked.free_from)
    return asked.emptied(ways, f" in {bay.name}", frozenset(bay.zones), proven=True)


def _short_in(asked: Asked, bay: Bay, *, proven: bool) -> WhyNot:
    miss = _miss(asked, bay, None)
    shortfalls = tuple(sides_in_order(miss.shortfalls)) if miss else ()
    headings = bay.headings_deg if asked.square else None
    helped = removals(
        only_bay(asked.plan, bay), asked.parts, headings, bays={bay.id}, only_movable=True
    )
    helped = tuple(one for one in helped if _stands_in(bay, one.placement))
    lack = asked.phone.short(shortfalls) if shortfalls else "far too small for it"
    it = "it is" if shortfalls else "there is no room: it is"
    where = f"Along {bay.name}, either way round," if asked.square else f"In {bay.name}"
    said = [f"{where} {it} {lack}{_moved(asked, helped)}."]
    if not proven:
        said.append("That is no proof that it cannot stand there at an angle.")
    return WhyNot(
        " ".join(said),
        shortfalls,
        proven=proven,
        outcome="too_small" if proven else "not_found",
        removals=helped,
        needs_mm=asked.needs_mm,
        pose=miss.pose if miss else None,
    )


def _short_here(asked: Asked, pose: Pose, report: PoseReport, *, turned_fits: bool) -> WhyNot:
    shortfalls = tuple(sides_in_order(report.shortfalls))
    helped = _removed_here(asked, pose, shortfalls_against(report))
    unless = ", unless the vehicle is turned round" if turned_fits else ""
    return WhyNot(
        f"Here it is {asked.phone.short(shortfalls)}{_moved(asked, helped)}{unless}.",
        shortfalls,
        outcome="too_small",
        removals=helped,
        needs_mm=asked.needs_mm,
    )


def shortfalls_against(report: PoseReport) -> Sequence[str]:
    """Everything that stands in the way, each thing once."""
    return list(dict.fromkeys(thing for short in report.shortfalls for thing in short.against))


def _removed_here(asked: Asked, pose: Pose, things: Sequence[str]) -> tuple[Removal, ...]:
    obstacle = next((o for o in asked.plan.obstacles if [o.id] == list(things)), None)
    if obstacle is None:
        return ()
    bare = without(asked.plan, obstacle.id)
    if not check_pose(bare, asked.parts, pose, asked.occupied).ok:
        return ()
    return (Removal(obstacle.id, movable(obstacle), placement_at(bare, asked.parts, pose)),)


def _moved(asked: Asked, helped: Sequence[Removal]) -> str:
    moved = asked.phone.if_moved(helped)
    return f"; it fits if {moved} is moved" if moved else ""


def _miss(asked: Asked, bay: Bay, headings: tuple[float, ...] | None) -> NearMiss | None:
    return nearest_miss(asked.plan, asked.parts, standings(asked.plan, headings, bay))


def _stands_in(bay: Bay, placement: Placement) -> bool:
    return bool(bay.area.covers(Polygon(placement.body).centroid))


def _bay_of(placement: Placement) -> str | None:
    return next(iter(placement.bay_ids), None)
