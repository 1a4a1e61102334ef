"""What does each layer of a DXF file mean? Asked once, answered with a picture beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bays.lengths import Units, say_length
from bays.pages.moments import ShopForm
from bays.selectors.drafts import Draft, draft_of
from bays.services.drafts import save_draft
from bays.transfer.curves import chords
from bays.transfer.dxf import UNIT_NAMES, UNITS
from bays.transfer.dxf_drawing import MEANINGS, drawing_from, guessed_units
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal

# What layers are often called (common practice, no source); the person has the last word.
_USUAL_NAMES = (
    ("door", "door"), ("gate", "door"), ("wall", "outline"), ("outline", "outline"),
    ("floor", "outline"), ("col", "column"), ("pillar", "column"), ("lift", "lift post"),
    ("hoist", "lift post"), ("equip", "equipment"), ("office", "room"), ("room", "room"),
    ("rack", "rack"), ("align", "rack"), ("aisle", "aisle"), ("lane", "aisle"), ("bay", "bay"),
    ("stall", "bay"),
)  # fmt: skip
_WORDS = {
    "ignore": "leave out", "outline": "outline of the floor", "door": "doors", "bay": "bays",
    "rack": "alignment racks", "aisle": "aisles", "column": "columns", "lift post": "lift posts",
    "equipment": "fixed equipment", "room": "rooms",
}  # fmt: skip


COLOURS = 6


@dataclass(frozen=True)
class LayerLine:
    number: int
    name: str
    says: str
    left_out: str
    field: forms.BoundField

    @property
    def colour(self) -> int:
        return self.number % COLOURS


class LayersForm(ShopForm):
    """One choice for each layer, and the unit that the file is drawn in."""

    unit = forms.TypedChoiceField(
        label="Drawn in",
        coerce=int,
        choices=[("", "choose"), *((code, UNIT_NAMES[code]) for code in UNITS)],
        error_messages={"required": "Say which unit the file is drawn in."},
    )
    name = forms.CharField(label="Name of the floor", max_length=120)

    def __init__(self, *args: Any, imported: Mapping[str, Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, layer in enumerate(imported["layers"]):
            self.fields[f"layer{number}"] = forms.ChoiceField(
                label=f"Layer {layer['name']} means",
                choices=[(meaning, _WORDS[meaning]) for meaning in MEANINGS],
                initial=_guess(layer["name"]),
            )

    def meanings(self) -> dict[int, str]:
        chosen = self.cleaned_data.items()
        return {int(key[5:]): value for key, value in chosen if key.startswith("layer")}


@require_safe
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_layers(request: MemberRequest) -> HttpResponse:
    """The layers of the file, with what they may mean."""
    draft = draft_of(request.actor.shop_id)
    if draft is None or draft.imported is None:
        return HttpResponseRedirect(reverse("draw-floor"))
    return _page(request, draft, draft.imported)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_layers_told(request: MemberRequest) -> HttpResponse:
    """Make the drawing from what was told; its faults are shown there."""
    draft = draft_of(request.actor.shop_id)
    if draft is None or draft.imported is None:
        raise NotFound("no_draft", "There is no file whose layers wait to be told apart.")
    imported = draft.imported
    form = LayersForm(request.POST, shop=request.membership.shop, imported=imported)
    if not form.is_valid():
        return _page(request, draft, imported, form=form, status=422)
    made = drawing_from(
        imported,
        form.meanings(),
        mm_per_unit=UNITS[form.cleaned_data["unit"]],
        name=form.cleaned_data["name"],
    )
    shown = str(request.POST.get("version", ""))
    version = int(shown) if shown.isdecimal() and len(shown) < 10 else 0
    try:
        save_draft(by=request.actor, version=version, drawing=made.drawing)
    except Refusal as refusal:
        return _page(request, draft, imported, form=form, refusal=refusal, status=refusal.status)
    for note in made.notes:
        messages.warning(request, note)
    return HttpResponseRedirect(reverse("draw-floor"))


def _page(
    request: MemberRequest,
    draft: Draft,
    imported: Mapping[str, Any],
    *,
    form: LayersForm | None = None,
    status: int = 200,
    **extra: Any,
) -> HttpResponse:
    shop = request.membership.shop
    code = imported["insunits"] if guessed_units(imported["insunits"]) else ""
    name = draft.drawing.get("name") or str(imported["file"]).rpartition(".")[0] or "Floor"
    form = form or LayersForm(shop=shop, imported=imported, initial={"unit": code, "name": name})
    context = {
        "draft": draft,
        "form": form,
        "file": imported["file"],
        "repairs": imported["repairs"],
        "lines": [_line(form, number, row) for number, row in enumerate(imported["layers"])],
        "sizes": _sizes(imported, "us" if shop.units == "us" else "metric"),
        "picture": _picture(imported),
        **extra,
    }
    return render(request, "bays/draw_layers.html", context, status=status)


def _guess(name: str) -> str:
    low = name.lower()
    return next((meaning for part, meaning in _USUAL_NAMES if part in low), "ignore")


def _line(form: LayersForm, number: int, layer: Mapping[str, Any]) -> LayerLine:
    words = {"closed": "closed shape", "lines": "line", "circles": "circle", "inserts": "block"}
    counted = [_counted(layer["counts"][key], word) for key, word in words.items()
               if layer["counts"].get(key)]  # fmt: skip
    left = [_counted(count, kind) for kind, count in layer["left_out"].items()]
    return LayerLine(
        number, layer["name"], ", ".join(counted) or "texts only", ", ".join(left),
        form[f"layer{number}"],
    )  # fmt: skip


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _extent(imported: Mapping[str, Any]) -> tuple[float, float, float, float]:
    at = [v for layer in imported["layers"] for key in ("rings", "paths")
          for shape in layer[key] for v in shape["at"]]  # fmt: skip
    xs, ys = [v[0] for v in at] or [0.0], [v[1] for v in at] or [0.0]
    return min(xs), min(ys), max(xs), max(ys)


def _sizes(imported: Mapping[str, Any], units: Units) -> list[tuple[str, str]]:
    """How large everything would be in each unit: the surest way to see which one it is."""
    west, south, east, north = _extent(imported)
    return [
        (
            UNIT_NAMES[code],
            f"{say_length((east - west) * mm, units)} by {say_length((north - south) * mm, units)}",
        )
        for code, mm in UNITS.items()
    ]


def _picture(imported: Mapping[str, Any]) -> dict[str, Any]:
    """Every layer as lines, for the template; one thousand units across whatever the file's are."""
    west, south, east, north = _extent(imported)
    size = max(east - west, north - south) or 1.0
    scale = 1000.0 / size

    def points(shape: Mapping[str, Any], *, closed: bool) -> str:
        vertices: Sequence[Any] = [tuple(v) for v in shape["at"]]
        path = [*vertices, vertices[0]] if closed else vertices
        flat = chords(path, size / 2000)
        return " ".join(f"{(x - west) * scale:.1f},{(north - y) * scale:.1f}" for x, y in flat)

    layers = [
        (
            number % COLOURS,
            layer["name"],
            [points(shape, closed=True) for shape in layer["rings"]]
            + [points(shape, closed=False) for shape in layer["paths"]],
        )
        for number, layer in enumerate(imported["layers"])
    ]
    return {
        "width": round((east - west) * scale) + 40,
        "height": round((north - south) * scale) + 40,
        "layers": layers,
    }
