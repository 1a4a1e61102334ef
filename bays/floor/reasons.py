"""Where a step fits now, or why it cannot be done, in words that can be said on the telephone."""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from dataclasses import replace
from datetime import datetime

from bays.floor.ground import FindWays, Judge
from bays.floor.headings import search_placements
from bays.floor.nearest import nearest_miss, standings
from bays.floor.placement import Placement, Pose, options, placements
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.reasons_at import at_one_pose, in_one_bay
from bays.floor.remedies import FreeFrom, emptyings, removals, sides_in_order
from bays.floor.sayings import Phone, inline, plain_clock
from bays.floor.shapes import Part
from bays.floor.standing import placement_at
from bays.floor.telling import Asked, WhyNot
from bays.floor.words import Units

__all__ = ["WhyNot", "why_not"]


def why_not(
    plan: FloorPlan,
    parts: tuple[Part, ...],
    headings: Sequence[float] | None,
    occupied: Set[ZoneId],
    *,
    at: str | Pose | None = None,
    bays: Set[str] | None = None,
    square: bool = False,
    units: Units = "metric",
    free_from: FreeFrom | None = None,
    clock: Callable[[datetime], str] = plain_clock,
    judge: Judge | None = None,
    find_ways: FindWays | None = None,
) -> WhyNot:
    """Say where the step fits with these zones occupied, or what would help, or why nothing does.

    Headings as in :func:`placements`; ``at`` asks of one bay (by its id) or of one pose instead,
    ``bays`` of placements in some bays only (see :attr:`Placement.bay_ids`). With ``square`` one
    bay is asked of along its own heading and its reverse only, which is quicker.
    ``free_from`` tells when zones are free together, said by the shop's ``clock``. ``judge`` tells
    how level and light the floor is under a placement; floor that it refuses is not offered.
    ``find_ways`` looks for the way in: asked only for places told of, since it may be slow.

    Where nothing helps, it is told on which side it is short, by how much and against what (short
    by at most 0.5 mm too much, rounded up in words; room to spare is rounded down), and which
    things on the floor would have to be moved. "Fits nowhere" is said only when it is proven.

    Raises:
        KeyError: ``at`` names no bay of the plan.
    """
    asked = Asked(
        plan=plan,
        parts=parts,
        headings=None if headings is None else tuple(sorted({h % 360.0 for h in headings})),
        occupied=frozenset(occupied),
        phone=Phone(plan, units, clock),
        square=square,
        bays=None if bays is None or bays >= {bay.id for bay in plan.bays} else frozenset(bays),
        free_from=free_from,
        judge=judge,
        find_ways=find_ways,
    )
    if isinstance(at, Pose):
        return at_one_pose(asked, at)
    if at is not None:
        bay = plan.bay(at)
        if bay is None:
            raise KeyError(at)
        return in_one_bay(asked, bay)
    return _anywhere(asked)


def _anywhere(asked: Asked) -> WhyNot:
    if asked.headings is None and not asked.bays_asked:
        no_bays = "The floor plan has no bays" + (" for this." if asked.plan.bays else ".")
        return WhyNot(no_bays, outcome="no_bays")
    found, proven = _found(asked)
    now = asked.best_now(found)
    if now is not None:
        return asked.fitting(now, _in(asked, now))
    ways = emptyings(asked.fit_floor(found), asked.occupied, asked.free_from)
    turned = _turned(asked)
    if ways:
        told = asked.emptied(ways, proven=proven)
        told = replace(told, answer=f"{told.answer}{_unfit_but_free(asked, found)}")
    elif found:
        place = (options(found, asked.occupied) or list(found))[0]
        told = asked.unfit(place, _in(asked, place))
    else:
        told = _nowhere(asked, proven=proven)
    if turned is None:
        return replace(told, turned_round=None if asked.headings is None else False)
    room = inline(asked.phone.fits(_in(asked, turned), turned.margin_mm))
    answer = f"{told.answer} Turned round {room}."
    return asked.with_place(
        replace(told, answer=answer, outcome="turned", turned_round=True), turned
    )


def _in(asked: Asked, placement: Placement) -> str:
    return f" in {asked.phone.place(placement.zones)}"


def _found(asked: Asked) -> tuple[tuple[Placement, ...], bool]:
    if asked.headings is None:
        search = search_placements(asked.plan, asked.parts)
        return asked.in_bays(search.placements), search.proven
    return asked.in_bays(placements(asked.plan, asked.parts, asked.headings)), True


def _turned(asked: Asked) -> Placement | None:
    """Where it fits now the other way round, if headings were asked for."""
    if asked.headings is None:
        return None
    others = tuple((h + 180.0) % 360.0 for h in asked.headings)
    left = [heading for heading in others if heading not in asked.headings]
    found = placements(asked.plan, asked.parts, left) if left else ()
    return asked.best_now(asked.in_bays(found))


def _unfit_but_free(asked: Asked, found: Sequence[Placement]) -> str:
    """Why not where there is room now: the floor there."""
    free = options(found, asked.occupied)
    return f" {asked.unfit(free[0], _in(asked, free[0])).answer}" if free else ""


def _nowhere(asked: Asked, *, proven: bool) -> WhyNot:
    """Not even in the empty shop: how near it comes, and what would have to be moved."""
    where = "at these headings" if asked.headings else "around a bay, at any heading"
    said = [asked.phone.no_floor(asked.parts, where, proven=proven)]
    standing = standings(asked.plan, asked.headings, bays=asked.bays)
    miss = nearest_miss(asked.plan, asked.parts, standing)
    shortfalls = tuple(sides_in_order(miss.shortfalls)) if miss else ()
    bays = placement_at(asked.plan, asked.parts, miss.pose).bay_ids if miss else ()
    if shortfalls:
        bay = asked.plan.bay(bays[0]) if bays else None
        nearest = f"Nearest, in {bay.name}" if bay else "Nearest"
        said.append(f"{nearest}: {asked.phone.short(shortfalls)}.")
    helped = removals(asked.plan, asked.parts, asked.headings, bays=asked.bays, only_movable=True)
    moved = asked.phone.if_moved(helped)
    if moved:
        said.append(f"It fits if {moved} is moved.")
    return WhyNot(
        " ".join(said),
        shortfalls,
        proven=proven,
        outcome="too_small" if proven else "not_found",
        removals=helped,
        needs_mm=asked.needs_mm,
        pose=miss.pose if miss else None,
        bay=bays[0] if bays else None,
    )
