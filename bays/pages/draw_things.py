"""One thing of a drawing as typed: its forms, and what saving them changes."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from django.http import QueryDict

from bays.floor import edits
from bays.floor.edits import Box, Drawing
from bays.lengths import Units
from bays.pages.draw_forms import (
    BoxForm,
    CornersForm,
    DoorForm,
    DrawForm,
    JoinedBayForm,
    ObstacleForm,
    PlanNameForm,
    ZoneForm,
)
from bays.pages.draw_words import thing_name
from shopcal.accounts.models import Shop
from shopcal.errors import NotFound

ADDABLE = (
    ("bay", "Bay"), ("rack", "Rack"), ("aisle", "Aisle"), ("column", "Column"),
    ("lift post", "Lift post"), ("equipment", "Equipment"), ("room", "Room"),
    ("door", "Door"), ("hole", "Hole"), ("outline", "Outline"),
)  # fmt: skip


@dataclass
class ThingForms:
    """The forms of the thing chosen; ``box`` and ``corners`` are None where it has no shape."""

    ref: str
    title: str
    facts: DrawForm | None = None
    box: BoxForm | None = None
    corners: CornersForm | None = None
    may_remove: bool = True
    faults: list[str] = field(default_factory=list)

    @property
    def is_rectangle(self) -> bool:
        return self.box is not None and bool(self.box.initial.get("rectangle"))


def forms_of(
    drawing: Mapping[str, Any], ref: str, shop: Shop, posted: QueryDict | None = None
) -> ThingForms:
    """The forms of a thing; ``posted`` fills those that it names under ``act``.

    Raises:
        NotFound: there is no such thing in the drawing.
    """
    units: Units = "us" if shop.units == "us" else "metric"
    act = posted.get("act", "") if posted is not None else ""

    def made(kind: type[DrawForm], name: str, values: dict[str, Any], **more: Any) -> Any:
        data = posted if act == name else None
        return kind(data, shop=shop, prefix=name, initial=values, **more)

    if ref == "plan":
        facts = made(PlanNameForm, "facts", {"name": drawing.get("name", "")})
        return ThingForms(ref, "The floor", facts, may_remove=False)
    ring, facts = _ring_and_facts(drawing, ref, units, made)
    if ring is None:
        return ThingForms(ref, _capital(thing_name(drawing, ref)), facts)
    box_values = BoxForm.values_of(ring, units)
    box_values["rectangle"] = edits.as_box(ring) is not None
    return ThingForms(
        ref,
        _capital(thing_name(drawing, ref)),
        facts,
        made(BoxForm, "box", box_values),
        made(CornersForm, "corners", CornersForm.values_of(ring, units)),
    )


def _ring_and_facts(
    drawing: Mapping[str, Any], ref: str, units: Units, made: Any
) -> tuple[edits.Ring | None, DrawForm | None]:
    if ref == "outline":
        return drawing["outline"], None
    key, at = edits.place_of(drawing, ref)
    row = drawing[key][at]
    if key == "holes":
        return row, None
    if key == "obstacles":
        kept = {"id": row["id"], "kind": row["kind"]}
        return row["polygon"], made(ObstacleForm, "facts", kept)
    if key == "doors":
        return None, made(DoorForm, "facts", DoorForm.values_of(row, units))
    if key == "zones":
        return row["polygon"], made(ZoneForm, "facts", ZoneForm.values_of(drawing, row))
    values = JoinedBayForm.values_of(row, units)
    return None, made(JoinedBayForm, "facts", values, drawing=drawing)


def changed_by(drawing: Drawing, forms: ThingForms, act: str) -> Drawing | None:
    """The drawing with what was typed, or None where a form has faults."""
    form = {"facts": forms.facts, "box": forms.box, "corners": forms.corners}.get(act)
    if form is None or not form.is_valid():
        return None
    changed, typed = copy.deepcopy(drawing), form.cleaned_data
    if act == "facts":
        _take_facts(changed, forms.ref, typed)
    elif act == "corners":
        _put_ring(changed, forms.ref, typed["corners"])
    else:
        box = Box(typed["x"], typed["y"], typed["width"], typed["depth"], typed["turn_deg"])
        ring = ring_of(changed, forms.ref)
        _put_ring(changed, forms.ref, box.ring() if forms.is_rectangle else edits.fitted(ring, box))
    return changed


def turned(drawing: Drawing, ref: str) -> Drawing:
    """The thing turned a quarter to the left, and with a bay the way vehicles face."""
    changed = copy.deepcopy(drawing)
    _put_ring(changed, ref, edits.quarter_turned(ring_of(changed, ref)))
    if ref.startswith("zones."):
        zone = changed["zones"][int(ref.partition(".")[2])]
        bay = edits.own_bay(changed, zone["id"])
        if bay is not None:
            row = changed["bays"][bay]
            row["heading_deg"] = (row["heading_deg"] + 90) % 360
    return changed


def ring_of(drawing: Mapping[str, Any], ref: str) -> edits.Ring:
    """The corners of a thing.

    Raises:
        NotFound: there is no such thing, or it has no corners.
    """
    if ref == "outline":
        return list(drawing["outline"])
    key, at = edits.place_of(drawing, ref)
    row = drawing[key][at]
    if key == "holes":
        return list(row)
    if key in {"doors", "bays"}:
        raise NotFound("no_corners", "This has no corners of its own.")
    return list(row["polygon"])


def corners_of(drawing: Mapping[str, Any], ref: str) -> list[list[int]]:
    """Where a thing is: its corners, or the ends of a door.

    Raises:
        NotFound: there is no such thing, or it is no place of its own.
    """
    if ref.startswith("doors."):
        key, at = edits.place_of(drawing, ref)
        return [drawing[key][at]["from"], drawing[key][at]["to"]]
    return ring_of(drawing, ref)


def _put_ring(drawing: Drawing, ref: str, ring: edits.Ring) -> None:
    if ref == "outline":
        drawing["outline"] = ring
        return
    key, at = edits.place_of(drawing, ref)
    if key == "holes":
        drawing[key][at] = ring
    else:
        drawing[key][at]["polygon"] = ring


def _take_facts(drawing: Drawing, ref: str, typed: Mapping[str, Any]) -> None:
    if ref == "plan":
        drawing["name"] = typed["name"]
        return
    key, at = edits.place_of(drawing, ref)
    row = drawing[key][at]
    if key == "doors":
        row["id"] = typed["id"]
        row["from"], row["to"] = [typed["from_x"], typed["from_y"]], [typed["to_x"], typed["to_y"]]
        row.pop("height_mm", None)
        if typed["height"] is not None:
            row["height_mm"] = typed["height"]
    elif key == "bays":
        row.update({"id": typed["id"], "name": typed["name"], "zones": typed["zones"]})
        row["heading_deg"] = _plain(typed["heading_deg"])
        row["centre"] = [typed["centre_x"], typed["centre_y"]]
    elif key == "zones":
        _take_zone(drawing, row, typed)
    else:
        row.update({"id": typed["id"], "kind": typed["kind"]})


def _take_zone(drawing: Drawing, row: dict[str, Any], typed: Mapping[str, Any]) -> None:
    """Name and code go on to the bay that is this zone, the code to every bay that has it."""
    at = edits.own_bay(drawing, row["id"])
    before, named = row["id"], row["name"]
    row.update({key: typed[key] for key in ("id", "name", "kind")})
    for bay in drawing["bays"]:
        bay["zones"] = [typed["id"] if zone == before else zone for zone in bay["zones"]]
    if not typed["stands"]:
        if at is not None:
            del drawing["bays"][at]
        return
    if at is None:
        drawing["bays"].append(edits.bay_of(typed["id"], typed["name"], row["polygon"]))
        at = len(drawing["bays"]) - 1
    bay = drawing["bays"][at]
    if bay["name"] == named:
        bay["name"] = typed["name"]
    if bay["id"] == before:
        bay["id"] = typed["id"]
    if typed["heading_deg"] is not None:
        bay["heading_deg"] = _plain(typed["heading_deg"])


def _plain(heading_deg: float) -> float | int:
    """270, not 270.0: a drawing that says the same must be the same, letter by letter."""
    return int(heading_deg) if heading_deg == int(heading_deg) else heading_deg


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
