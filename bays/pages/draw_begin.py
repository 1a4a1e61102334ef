"""Where a drawing begins: the edition in force, an empty hall, our file, or a DXF file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bays.floor.edits import as_drawing, blank
from bays.lengths import say_length
from bays.models import FloorPlanEdition
from bays.pages.draw_forms import DrawingFileForm, DxfForm, HallForm
from bays.pages.plan_picture import plan_picture
from bays.selectors.drafts import draft_of
from bays.selectors.floor import plan_of_edition
from bays.services.drafts import begin_draft
from bays.transfer import load_document
from bays.transfer.dxf import DxfRefused, read_dxf
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Invalid, NotFound, Refusal


@require_safe
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_begin(request: MemberRequest) -> HttpResponse:
    """The four ways to begin."""
    if draft_of(request.actor.shop_id) is not None:
        return HttpResponseRedirect(reverse("draw-floor"))
    return _page(request)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_from_edition(request: MemberRequest, number: int) -> HttpResponse:
    """Begin with what a published edition shows."""
    edition = _edition(request, number)
    return _begun(request, as_drawing(edition.content))


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_hall(request: MemberRequest) -> HttpResponse:
    """Begin with an empty rectangle."""
    form = HallForm(request.POST, shop=request.membership.shop, prefix="hall")
    if not form.is_valid():
        return _page(request, status=422, hall_form=form)
    typed = form.cleaned_data
    return _begun(request, blank(typed["name"], typed["width"], typed["depth"]))


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_file(request: MemberRequest) -> HttpResponse:
    """Begin with a drawing in our own format; one with faults comes in with them."""
    shop = request.membership.shop
    form = DrawingFileForm(request.POST, request.FILES, shop=shop, prefix="file")
    if not form.is_valid():
        return _page(request, status=422, file_form=form)
    try:
        document = load_document(form.cleaned_data["file"].read().decode("utf-8"))
        drawing = as_drawing(document.get("floor", document))
    except UnicodeDecodeError:
        form.add_error("file", "This is not a text file: save it as YAML or JSON in UTF-8.")
        return _page(request, status=422, file_form=form)
    except Invalid as refused:
        return _page(request, status=422, file_form=form, file_faults=refused.errors)
    return _begun(request, drawing)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_dxf(request: MemberRequest) -> HttpResponse:
    """Read a DXF file; what its layers mean is asked next."""
    shop = request.membership.shop
    form = DxfForm(request.POST, request.FILES, shop=shop, prefix="dxf")
    if not form.is_valid():
        return _page(request, status=422, dxf_form=form)
    given = form.cleaned_data["file"]
    try:
        imported = read_dxf(given.read()).as_values(given.name)
    except DxfRefused as refused:
        form.add_error("file", f"{refused.title} {refused.detail}".strip())
        return _page(request, status=422, dxf_form=form)
    return _begun(request, {}, imported)


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def floor_edition(request: MemberRequest, number: int) -> HttpResponse:
    """A published edition: its picture, what is on it, since when it is in force."""
    edition = _edition(request, number)
    plan = plan_of_edition(edition)
    units: Any = "us" if request.membership.shop.units == "us" else "metric"
    newest = FloorPlanEdition.objects.for_shop(request.actor.shop_id).order_by("-number").first()
    title = f"{edition.name}, edition {edition.number}"
    drawing, summary = as_drawing(edition.content), plan.summary()
    wide, deep = (say_length(summary[key], units) for key in ("width_mm", "depth_mm"))
    return render(
        request,
        "bays/floor_edition.html",
        {
            "edition": edition,
            "in_force": newest is not None and newest.pk == edition.pk,
            "summary": summary,
            "floor_says": f"{wide} by {deep}",
            "zones": [zone for zone in plan.zones.values() if zone.kind != "rest"],
            "picture": plan_picture(drawing, title=title, units=units, plan=plan),
            "may_draw": may(request.actor, Action.EDIT_FLOOR_PLAN),
        },
    )


def _edition(request: MemberRequest, number: int) -> FloorPlanEdition:
    rows = FloorPlanEdition.objects.for_shop(request.actor.shop_id)
    edition = rows.filter(number=number).first()
    if edition is None:
        raise NotFound("no_edition", "There is no such edition of this shop's floor plan.")
    return edition


def _begun(
    request: MemberRequest,
    drawing: Mapping[str, Any],
    imported: Mapping[str, Any] | None = None,
) -> HttpResponse:
    try:
        begin_draft(by=request.actor, drawing=drawing, imported=imported)
    except Refusal as refusal:
        return _page(request, status=refusal.status, refusal=refusal)
    if imported is None:
        messages.success(request, "The drawing is begun. It is kept as you go.")
    return HttpResponseRedirect(reverse("draw-layers" if imported is not None else "draw-floor"))


def _page(request: MemberRequest, *, status: int = 200, **extra: Any) -> HttpResponse:
    shop = request.membership.shop
    rows = FloorPlanEdition.objects.for_shop(shop.pk).order_by("-number")
    context: dict[str, Any] = {
        "edition": rows.first(),
        "draft": draft_of(shop.pk),
        "hall_form": HallForm(shop=shop, prefix="hall"),
        "file_form": DrawingFileForm(shop=shop, prefix="file"),
        "dxf_form": DxfForm(shop=shop, prefix="dxf"),
        **extra,
    }
    return render(request, "bays/draw_begin.html", context, status=status)
