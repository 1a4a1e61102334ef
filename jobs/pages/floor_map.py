"""The floor map: to scale, which vehicle stands where at a moment and what room it has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bays.floor.sides import SideRoom
from bays.selectors.floor import CurrentFloor, current_floor
from jobs.drawing import draw_floor_map
from jobs.models import Visit
from jobs.pages.floor_clock import FloorClock
from jobs.pages.floor_picture import MEASURES, Scene, floor_picture, spare_words
from jobs.pages.floor_words import IN_WORDS, FloorNames, gap_words, shop_units
from jobs.pages.moments import ShopWords
from jobs.selectors.floor_now import FloorNow, Standing, floor_now
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound


@dataclass(frozen=True)
class RoomLine:
    """The room on one side, in words: from the clear zone, and from the vehicle."""

    side: str
    from_zone: str
    from_body: str


@dataclass(frozen=True)
class FloorLine:
    """One vehicle in the list beside the map."""

    standing: Standing
    place: str
    spare: str
    until: str
    state: str
    tag: str
    on_map: bool
    rooms: tuple[RoomLine, ...] = ()


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_map(request: MemberRequest) -> HttpResponse:
    """What stands where, now or at a time asked for."""
    return render(request, "jobs/floor.html", _context(request))


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_panel(request: MemberRequest) -> HttpResponse:
    """The part that follows what happens and the slider."""
    return render(request, "jobs/_floor_panel.html", _context(request))


def floor_lines(scene: Scene, clock: FloorClock) -> list[FloorLine]:
    """What stands where, a line for each vehicle."""
    return [_line(one, scene, scene.words, clock) for one in scene.found.standing]


def floor_in_force(shop_id: int) -> CurrentFloor | None:
    try:
        return current_floor(shop_id)
    except NotFound:
        return None


def measure_asked(request: MemberRequest) -> str:
    measure = request.GET.get("measure", "")
    return measure if measure in MEASURES else "zones"


def _context(request: MemberRequest) -> dict[str, Any]:
    shop = request.membership.shop
    words = ShopWords.of(shop)
    clock = FloorClock.read(request.GET, shop.pk, words)
    measure = measure_asked(request)
    found = floor_now(shop.pk, clock.at)
    current = floor_in_force(shop.pk)
    scene = Scene(current, found, words, clock.at) if current else None
    lines = [_line(one, scene, words, clock) for one in found.standing]
    ways = request.GET.get("ways") == "1"
    picture = floor_picture(scene, measure=measure, ways=ways) if scene else None
    return {
        "clock": clock,
        "at": words.moment(clock.at),
        "at_clock": words.clock(clock.at),
        "zone_name": str(words.zone),
        "measure": measure,
        "measures": MEASURES.items(),
        "map": draw_floor_map(picture) if picture else "",
        "states": {zone.state for zone in picture.zones} if picture else set(),
        "lines": lines,
        "moving": [(one, words.clock(one.until)) for one in found.moving],
        "ways_wanted": bool(found.moving) and not ways,
        "ways": [move.title for move in picture.moves] if picture else [],
        "closed": found.closed,
        "elsewhere": _elsewhere(found) if clock.is_now else (),
        "answer": _answer(lines, found, current),
    }


def _elsewhere(found: FloorNow) -> list[tuple[Visit, str]]:
    return [(visit, visit.state.replace("_", " ")) for visit in found.elsewhere]


def _answer(
    lines: list[FloorLine], found: FloorNow, current: CurrentFloor | None
) -> list[dict[str, Any]]:
    if current is None:
        return []
    taken = set(found.held) | {hold.resource.code for hold in found.closed}
    bays = [bay for bay in current.plan.bays if len(bay.zones) == 1]
    free = [bay.name for bay in bays if not taken & set(bay.zones)]
    there = [line for line in lines if not line.standing.expected]
    coming = len(lines) - len(there)
    facts: list[dict[str, Any]] = [{"number": len(there), "word": "on the floor"}]
    if coming:
        facts.append({"number": coming, "word": "planned to stand there, not begun"})
    facts.append({"number": len(free), "word": f"free: {', '.join(free)}" if free else "free bays"})
    return facts


def _line(one: Standing, scene: Scene | None, words: ShopWords, clock: FloorClock) -> FloorLine:
    state, tag = "at work", "work"
    if one.waiting:
        state, tag = "waits for its next step", "tape"
    elif one.expected:
        state, tag = "not begun", ""
    on_map = scene is not None and any(other.standing is one for other in scene.drawn)
    return FloorLine(
        standing=one,
        place=one.step.placement_label,
        spare=spare_words(one.step, words),
        until=words.briefly(one.until, words.day_of(clock.at)),
        state=state,
        tag=tag,
        on_map=on_map,
        rooms=_rooms(one, scene) if on_map and scene else (),
    )


def _rooms(one: Standing, scene: Scene) -> tuple[RoomLine, ...]:
    name = one.step.visit.ro_number
    zones = {room.side: room for room in scene.zone_rooms[name]}
    bodies = {room.side: room for room in scene.body_rooms[name]}
    return tuple(
        RoomLine(
            words,
            "" if one.waiting else _said(zones.get(side), scene.zone_names, scene.words),
            _said(bodies.get(side), scene.body_names, scene.words),
        )
        for side, words in IN_WORDS.items()
    )


def _said(room: SideRoom | None, names: FloorNames, words: ShopWords) -> str:
    if room is None:
        return ""
    return f"{gap_words(room.gap_mm, shop_units(words.units))} to {names.of(room.against)}"
