"""What the drawing page shows of a draft: the picture, the faults in words, the list, one thing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from bays.floor import FloorPlan, PlanFault, PlanFaults
from bays.floor.edits import for_publishing
from bays.lengths import Units, example, say_length
from bays.pages.draw_things import ADDABLE, ThingForms, corners_of, forms_of
from bays.pages.draw_words import FaultLine, fault_lines, thing_name
from bays.pages.plan_picture import plan_picture
from bays.selectors.drafts import Draft
from shopcal.accounts.models import Shop
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound

# Steps of the grid that people set things out by (common practice, no source).
_STEPS_MM = (10, 50, 100, 250, 500, 1000)
_STEPS_IN = (1, 3, 6, 12, 24, 36)
# What people look for first stands first.
_LISTED = ("zones", "bays", "doors", "obstacles", "holes")
_USUAL_STEP_MM = {"metric": 100.0, "us": 152.4}


@dataclass(frozen=True)
class ThingLine:
    """One thing in the list beside the drawing."""

    ref: str
    name: str
    kind: str
    size: str
    chosen: bool
    faulty: bool


class DrawState:
    """A draft with everything that is said about it; the plan is read once."""

    def __init__(
        self,
        drawing: Mapping[str, Any],
        shop: Shop,
        ref: str = "",
        thing: ThingForms | None = None,
    ) -> None:
        self.drawing = drawing
        self.shop = shop
        self.units: Units = "us" if shop.units == "us" else "metric"
        self.ref = ref
        self._thing = thing

    @cached_property
    def _read(self) -> tuple[FloorPlan | None, tuple[PlanFault, ...]]:
        try:
            return FloorPlan.from_content(for_publishing(self.drawing)), ()
        except PlanFaults as refused:
            return None, refused.faults

    @property
    def plan(self) -> FloorPlan | None:
        return self._read[0]

    @cached_property
    def faults(self) -> list[FaultLine]:
        return fault_lines(self.drawing, self._read[1], self.units)

    @cached_property
    def thing(self) -> ThingForms | None:
        """The forms of the thing chosen; nothing where it is gone."""
        if self._thing is not None or not self.ref:
            return self._thing
        try:
            return forms_of(self.drawing, self.ref, self.shop)
        except NotFound:
            return None

    @property
    def picture(self) -> SafeString:
        return plan_picture(
            self.drawing,
            title=f"The drawing of {self.drawing.get('name') or 'the floor'}",
            units=self.units,
            plan=self.plan,
            faults=self._read[1],
            chosen=self._chosen,
            picture_id="drawing-picture",
        )

    @property
    def _chosen(self) -> list[list[int]]:
        try:
            return corners_of(self.drawing, self.ref)
        except NotFound:
            return []

    @property
    def things(self) -> list[ThingLine]:
        faulty = {fault.ref for fault in self.faults}
        refs = ["outline"] + [
            f"{key}.{i}"
            for key in _LISTED
            for i, row in enumerate(self.drawing.get(key, []))
            if key != "bays" or self._is_joined(row)
        ]
        return [
            ThingLine(
                ref=ref,
                name=_capital(thing_name(self.drawing, ref)),
                kind=self._kind(ref),
                size=self._size(ref),
                chosen=ref == self.ref,
                faulty=ref in faulty,
            )
            for ref in refs
        ]

    @property
    def facts(self) -> list[str]:
        """What there is, in words; empty while there are faults."""
        if self.plan is None:
            return []
        summary = self.plan.summary()
        counted = ", ".join(
            f"{summary[key]} {key if summary[key] != 1 else key.removesuffix('s')}"
            for key in ("bays", "obstacles", "doors")
        )
        wide, deep = (say_length(summary[key], self.units) for key in ("width_mm", "depth_mm"))
        return [f"{wide} by {deep}", counted]

    def _is_joined(self, bay: Mapping[str, Any]) -> bool:
        """Whether it is no zone's own bay, and so has nothing else to be changed by."""
        zones = {zone["id"] for zone in self.drawing.get("zones", [])}
        return len(bay["zones"]) != 1 or bay["zones"][0] not in zones

    def _kind(self, ref: str) -> str:
        key, _, number = ref.partition(".")
        row = self.drawing[key][int(number)] if number else None
        if key in {"zones", "obstacles"} and row is not None:
            return str(row["kind"])
        return {"outline": "walls", "holes": "no floor", "doors": "door", "bays": "joined bay"}[key]

    def _size(self, ref: str) -> str:
        key, _, number = ref.partition(".")
        row = self.drawing[key][int(number)] if number else self.drawing[key]
        if key == "bays":
            return ", ".join(row["zones"])
        ring = row if key in {"outline", "holes"} else row.get("polygon")
        if key == "doors":
            (ax, ay), (bx, by) = row["from"], row["to"]
            return say_length(((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5, self.units)
        if not ring:
            return "no corners"
        xs, ys = [corner[0] for corner in ring], [corner[1] for corner in ring]
        wide, deep = max(xs) - min(xs), max(ys) - min(ys)
        return f"{say_length(wide, self.units)} x {say_length(deep, self.units)}"


def page_context(state: DrawState, draft: Draft, **extra: Any) -> dict[str, Any]:
    """Everything the page and its parts are drawn from."""
    us = state.units == "us"
    steps = [inches * 25.4 for inches in _STEPS_IN] if us else [float(mm) for mm in _STEPS_MM]
    return {
        "state": state,
        "draft": draft,
        "thing": state.thing,
        "addable": ADDABLE,
        "joinable": state.drawing.get("zones", []),
        "steps": [(step, say_length(step, state.units)) for step in steps],
        "usual_step": _USUAL_STEP_MM[state.units],
        "length_example": example(state.units),
        "boot": {
            "version": draft.version,
            "drawing": state.drawing,
            "rest": rest_rings(state.plan),
            "marks": marks_of(state),
            "units": state.units,
            "ref": state.ref,
        },
        **extra,
    }


def answer_of(state: DrawState, draft: Draft, request: MemberRequest) -> dict[str, Any]:
    """What the page's script is told after a change."""
    context = page_context(state, draft)
    parts = {
        "state": "bays/_draw_state.html",
        "thing": "bays/_draw_thing.html",
        "list": "bays/_draw_list.html",
    }
    return {
        **context["boot"],
        "parts": {
            name: render_to_string(template, context, request) for name, template in parts.items()
        },
    }


def rest_rings(plan: FloorPlan | None) -> list[list[list[list[float]]]]:
    """Floor that no zone covers: each piece with its outer ring first and its holes after."""
    if plan is None:
        return []
    return [
        [
            [[x, y] for x, y in list(ring.coords)[:-1]]
            for ring in (zone.polygon.exterior, *zone.polygon.interiors)
        ]
        for zone in plan.zones.values()
        if zone.kind == "rest"
    ]


def marks_of(state: DrawState) -> list[dict[str, Any]]:
    return [
        {"number": fault.number, "points": [list(point) for point in mark]}
        for fault in state.faults
        for mark in fault.marks
    ]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
