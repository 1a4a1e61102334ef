"""The floor map: to scale, which vehicle stands where at a moment and what room it has."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe
from shapely.geometry import Polygon

from bays import floor
from bays.hours import moment_of
from bays.selectors.calendar import opening_spans
from bays.selectors.floor import CurrentFloor, current_floor
from jobs.drawing import (
    FloorDoor,
    FloorMap,
    FloorObstacle,
    FloorVehicle,
    FloorZone,
    draw_floor_map,
)
from jobs.drawing.page import Point
from jobs.models import Visit
from jobs.pages.moments import ShopWords
from jobs.selectors.floor_now import FloorNow, Standing, floor_now
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound


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


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_map(request: MemberRequest) -> HttpResponse:
    """What stands where, now or at a time asked for."""
    return render(request, "jobs/floor.html", _context(request))


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_panel(request: MemberRequest) -> HttpResponse:
    """The part that follows what happens."""
    return render(request, "jobs/_floor_panel.html", _context(request))


def _context(request: MemberRequest) -> dict[str, Any]:
    shop = request.membership.shop
    words = ShopWords.of(shop)
    asked = _asked(request, words)
    at = asked or words.now
    found = floor_now(shop.pk, at)
    try:
        current = current_floor(shop.pk)
    except NotFound:
        current = None
    lines = [_line(one, current, words, at) for one in found.standing]
    return {
        "at": words.moment(at),
        "at_clock": words.clock(at),
        "is_now": asked is None,
        "query": request.GET.urlencode(),
        "times": _times(request, words),
        "map": _draw(found, current, lines, words, at) if current else "",
        "lines": lines,
        "closed": found.closed,
        "elsewhere": _elsewhere(found) if asked is None else (),
        "answer": _answer(lines, current),
    }


def _elsewhere(found: FloorNow) -> list[tuple[Visit, str]]:
    return [(visit, visit.state.replace("_", " ")) for visit in found.elsewhere]


def _asked(request: MemberRequest, words: ShopWords) -> datetime | None:
    """The moment asked for by ``at`` and ``on``; None for now, and for what cannot be read."""
    try:
        wall = time.fromisoformat(request.GET.get("at", ""))
    except ValueError:
        return None
    try:
        day = date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        day = words.today
    return moment_of(day, wall.replace(tzinfo=None), words.zone)


def _times(request: MemberRequest, words: ShopWords) -> list[str]:
    """The full hours the shop is open today, for plain links."""
    spans = opening_spans(request.actor.shop_id, words.zone, words.today, words.today)
    hours = []
    for span in spans:
        at = span.starts_at
        while at < span.ends_at:
            hours.append(words.clock(at))
            at += timedelta(hours=1)
    return hours


def _answer(lines: list[FloorLine], current: CurrentFloor | None) -> list[dict[str, Any]]:
    if current is None:
        return []
    taken = {zone for line in lines for zone in (line.standing.step.placement or {})["zones"]}
    bays = [bay for bay in current.plan.bays if len(bay.zones) == 1]
    free = [bay.name for bay in bays if not taken & set(bay.zones)]
    there = [line for line in lines if not line.standing.expected]
    coming = len(lines) - len(there)
    facts: list[dict[str, Any]] = [{"number": len(there), "word": "on the floor"}]
    if coming:
        facts.append({"number": coming, "word": "planned to stand there, not begun"})
    facts.append({"number": len(free), "word": f"free: {', '.join(free)}" if free else "free bays"})
    return facts


def _line(one: Standing, current: CurrentFloor | None, words: ShopWords, at: datetime) -> FloorLine:
    step = one.step
    state, tag = "at work", "work"
    if one.waiting:
        state, tag = "waits for its next step", "tape"
    elif one.expected:
        state, tag = "not begun", ""
    placement = step.placement or {}
    return FloorLine(
        standing=one,
        place=step.placement_label,
        spare=words.spare(placement["margin_mm"]) if "margin_mm" in placement else "",
        until=words.briefly(one.until, words.day_of(at)),
        state=state,
        tag=tag,
        on_map=bool(placement) and current is not None and step.floor_edition == current.edition,
    )


def _draw(
    found: FloorNow, current: CurrentFloor, lines: list[FloorLine], words: ShopWords, at: datetime
) -> str:
    plan = current.plan
    closed = {hold.resource.code: hold for hold in found.closed}
    vehicles = tuple(_vehicle(line) for line in lines if line.on_map)
    return draw_floor_map(
        FloorMap(
            title=f"{plan.name}, {words.moment(at)}",
            outline=_ring(plan.outline),
            holes=tuple(_points(ring.coords) for ring in plan.outline.interiors),
            zones=tuple(_zone(zone, closed, words, at) for zone in plan.zones.values()),
            obstacles=tuple(FloorObstacle(o.kind, _ring(o.polygon)) for o in plan.obstacles),
            doors=tuple(FloorDoor(d.start, d.end, d.id) for d in plan.doors),
            vehicles=vehicles,
            units="us" if words.units == "us" else "metric",
            width=960,
        )
    )


def _vehicle(line: FloorLine) -> FloorVehicle:
    step = line.standing.step
    placement = step.placement
    assert placement is not None
    return FloorVehicle(
        reference=step.visit.ro_number,
        body=_points(placement["body"]),
        heading_deg=placement["pose"][2],
        clear_zone=() if line.standing.waiting else _points(placement["polygon"]),
        says="" if line.standing.waiting else line.spare,
        label=step.visit.vehicle.label,
        url=reverse("visit-detail", args=[step.visit_id]),
        proposed=line.standing.expected,
    )


def _zone(zone: floor.Zone, closed: dict[str, Any], words: ShopWords, at: datetime) -> FloorZone:
    hold = closed.get(zone.id)
    until = words.briefly(hold.ends_at, words.day_of(at)) if hold else ""
    return FloorZone(
        id=zone.id,
        name="" if zone.kind == "rest" else zone.name,
        kind=zone.kind,
        polygon=_ring(zone.polygon),
        note=f"closed until {until}" if hold else "",
    )


def _ring(polygon: Polygon) -> tuple[Point, ...]:
    return _points(polygon.exterior.coords)


def _points(coordinates: Any) -> tuple[Point, ...]:
    return tuple((float(point[0]), float(point[1])) for point in coordinates)
