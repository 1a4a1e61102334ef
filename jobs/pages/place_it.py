"""Placing a vehicle with its clear zone on the floor by hand: what it meets there, live."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bays import floor
from bays.floor.words import listed
from bays.lengths import say_length
from bays.selectors.floor import CurrentFloor
from jobs.drawing.floor_map import lay_out_floor
from jobs.drawing.page import render_drawing
from jobs.pages.floor_clock import FloorClock
from jobs.pages.floor_map import RoomLine, floor_in_force
from jobs.pages.floor_words import (
    IN_WORDS,
    FloorNames,
    gap_words,
    shop_units,
    shortfall_words,
    taken_words,
)
from jobs.pages.moments import ShopWords
from jobs.pages.place_form import PlaceForm
from jobs.pages.placing import Placing, rooms_by_side
from jobs.planning.ground import Ground
from jobs.planning.pose_check import PoseAnswer
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest

MOST_PLACES = 8
# How far a key or a button moves the vehicle, millimetres: plain, fine, coarse.
STEPS_MM = {"metric": (50.0, 10.0, 500.0), "us": (50.8, 12.7, 304.8)}
STEP_WORDS = {"metric": ("5 cm", "1 cm", "50 cm"), "us": ("2 in", "½ in", "1 ft")}
VERDICT_TAGS = {"yes": "ok", "no": "stop", "unknown": "tape"}


@dataclass(frozen=True)
class Verdict:
    """One thing asked of the place, with its answer in words."""

    name: str
    tag: str
    word: str
    says: str


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def place_it(request: MemberRequest) -> HttpResponse:
    """The page; without a script its form shows the answer at the pose typed."""
    return render(request, "jobs/place_it.html", _context(request))


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def place_panel(request: MemberRequest) -> HttpResponse:
    """Map and answer alone, for a vehicle that is being dragged."""
    context = _context(request)
    status = 200 if context.get("answer") or not context.get("form") else 422
    return render(request, "jobs/_place_panel.html", context, status=status)


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def place_options(request: MemberRequest) -> HttpResponse:
    """Every place where it fits at the moment shown; cold, that takes a second or more."""
    current, form, clock = _read(request)
    context: dict[str, Any] = {"places": [], "more": 0}
    if current is not None and form.sized is not None:
        found = Placing(current, form, clock, request.membership.shop).places
        context["places"] = [_place_line(one, form, clock) for one in found[:MOST_PLACES]]
        context["more"] = max(len(found) - MOST_PLACES, 0)
    return render(request, "jobs/_place_options.html", context)


def _read(request: MemberRequest) -> tuple[CurrentFloor | None, PlaceForm, FloorClock]:
    shop = request.membership.shop
    words = ShopWords.of(shop)
    clock = FloorClock.read(request.GET, shop.pk, words)
    form = PlaceForm(request.GET, shop_id=shop.pk, words=words)
    return floor_in_force(shop.pk), form, clock


def _context(request: MemberRequest) -> dict[str, Any]:
    current, form, clock = _read(request)
    if current is None or form.sized is None:
        return {"lacks": "floor" if current is None else "vehicle"}
    placing = Placing(current, form, clock, request.membership.shop)
    find = request.GET.get("find", "")
    said = _put_pose(placing, find)
    answer = placing.answer_at(form.pose) if form.is_valid() else None
    units = shop_units(clock.words.units)
    way = placing.way_to(form.pose) if answer and find == "way" else None
    layout = lay_out_floor(placing.picture(answer, way))
    return {
        "form": form,
        "clock": clock,
        "at": clock.words.moment(clock.at),
        "at_clock": clock.words.clock(clock.at),
        "query": _query(form, clock),
        "map": render_drawing("floor_map", floor=layout),
        "plane": layout.plane,
        "steps_mm": STEPS_MM[units],
        "step_words": STEP_WORDS[units],
        "said": said,
        "way": way,
        "way_drawn": bool(way and way.drive),
        "answer": answer,
        "states": {zone.state for zone in layout.zones},
        "lines": placing.scene.drawn,
        **(_answer(placing, answer) if answer else {}),
    }


def _put_pose(placing: Placing, find: str) -> str:
    """Fill in a pose that was asked for rather than typed; what to say where there is none."""
    form = placing.form
    if find == "roomiest":
        if not placing.places:
            return "It fits nowhere in a bay at this time."
        form.put(placing.places[0].pose)
    elif not form.says_where():
        form.put(placing.start())
    elif find == "near" and form.is_valid():
        found = placing.near(form.pose)
        if found is None:
            return "It does not fit within 1 m of here at this heading."
        form.put(found)
    form.full_clean()
    return ""


def _query(form: PlaceForm, clock: FloorClock) -> str:
    """The address of the same vehicle, procedure and moment, wherever it is placed."""
    return urlencode(
        {
            "vehicle": form.said["vehicle"],
            "procedure": form.said["procedure"],
            "on": clock.day.isoformat(),
            "at": clock.words.clock(clock.at),
        }
    )


def _answer(placing: Placing, answer: PoseAnswer) -> dict[str, Any]:
    words, plan, names = placing.clock.words, placing.current.plan, placing.names
    units = shop_units(words.units)
    report = answer.report
    busy = sorted(report.zones & placing.occupied)
    return {
        "headline": _headline(answer, words),
        "fits_tag": "ok" if answer.fits else "stop",
        "nearest": _nearest(answer, names, words) if report.ok else "",
        **_refusal(placing, answer),
        "zones_taken": taken_words(plan, report.zones),
        "zones_busy": listed([names.of(zone) for zone in busy]),
        "needs": gap_words(answer.needs_mm, units) if answer.needs_mm else "",
        "rooms": _rooms(answer, names, words),
        "verdicts": _verdicts(answer.ground),
        "not_its_floor": "" if answer.on_its_floor else _kind_words(placing),
        "pose_words": {
            "x": say_length(answer.pose.x_mm, units),
            "y": say_length(answer.pose.y_mm, units),
            "heading": placing.form.said["heading"],
        },
    }


def _refusal(placing: Placing, answer: PoseAnswer) -> dict[str, Any]:
    """What would help, and side by side what is short. Both stand in the sentence already where
    nothing but walls and obstacles is in the way.
    """
    if answer.report.ok:
        return {}
    told = placing.told_at(answer)
    units = shop_units(placing.clock.words.units)
    short = [shortfall_words(one, placing.names, units) for one in answer.report.shortfalls]
    return {"told": told.says, "shortfalls": [] if told.outcome == "too_small" else short}


def _kind_words(placing: Placing) -> str:
    kind = placing.form.content.zone_kind if placing.form.content else ""
    return f"This procedure is done on the {kind}; here the vehicle does not stand on it."


def _headline(answer: PoseAnswer, words: ShopWords) -> str:
    """The answer first: whether it fits here, and by how much."""
    if answer.fits:
        return f"It fits here, {words.spare(answer.report.margin_mm)}"
    if not answer.report.ok:
        tight = answer.report.margin_mm > 0
        return "Too tight here" if tight else "It does not fit here"
    return "There is room, but not on this floor"


def _nearest(answer: PoseAnswer, names: FloorNames, words: ShopWords) -> str:
    """``Nearest: the wall, 15 cm in front``, the side left out where it lies across a corner."""
    near = answer.nearest
    if near is None:
        return ""
    straight = [room for room in answer.zone_rooms if room.gap_mm < near.gap_mm + 1]
    side = f" {IN_WORDS[straight[0].side]}" if straight else ""
    gap = gap_words(near.gap_mm, shop_units(words.units))
    return f"Nearest: {names.of(near.against)}, {gap}{side}"


def _rooms(answer: PoseAnswer, names: FloorNames, words: ShopWords) -> list[RoomLine]:
    units = shop_units(words.units)
    zones, bodies = rooms_by_side(answer.zone_rooms), rooms_by_side(answer.body_rooms)

    def said(room: Any) -> str:
        if room is None:
            return ""
        return f"{gap_words(room.gap_mm, units)} to {names.of(room.against)}"

    return [
        RoomLine(in_words, said(zones.get(side)), said(bodies.get(side)))
        for side, in_words in IN_WORDS.items()
    ]


def _verdicts(ground: Ground | None) -> list[Verdict]:
    if ground is None:
        return []
    found = []
    for name, there in (("Level", ground.level), ("Light", ground.light)):
        if there is not None:
            verdict = there.found.verdict
            word = {"yes": "good enough", "no": "not good enough", "unknown": "not known"}[verdict]
            found.append(Verdict(name, VERDICT_TAGS[verdict], word, there.found.says))
    return found


def _place_line(one: floor.Placement, form: PlaceForm, clock: FloorClock) -> dict[str, str]:
    units = shop_units(clock.words.units)
    pose = {
        "x": say_length(one.pose.x_mm, units),
        "y": say_length(one.pose.y_mm, units),
        "heading": f"{one.pose.heading_deg:.4f}".rstrip("0").rstrip("."),
    }
    return {
        "label": one.label,
        "spare": clock.words.spare(one.margin_mm),
        "heading": f"{one.pose.heading_deg:.0f}°",
        "address": f"{_query(form, clock)}&{urlencode(pose)}",
        **{f"pose_{name}": value for name, value in pose.items()},
    }
