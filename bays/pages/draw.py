"""How is the shop laid out? The drawing a manager is at, saved as it goes, published when right."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bays.floor import PlanFaults, edits
from bays.floor.edits import Drawing
from bays.pages.draw_state import DrawState, answer_of, page_context
from bays.pages.draw_things import ThingForms, changed_by, forms_of, turned
from bays.selectors.drafts import Draft, draft_of
from bays.services.drafts import discard_draft, publish_draft, save_draft
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Invalid, NotFound, Refusal

KINDS = frozenset({"door", "outline", "hole", *edits.OBSTACLE_KINDS, "bay", "rack", "aisle"})


@require_safe
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_floor(request: MemberRequest) -> HttpResponse:
    """The drawing with one thing chosen (``?ref=zones.2``), or where to begin."""
    draft = draft_of(request.actor.shop_id)
    if draft is None:
        return HttpResponseRedirect(reverse("draw-begin"))
    if draft.imported is not None and not draft.drawing:
        return HttpResponseRedirect(reverse("draw-layers"))
    state = DrawState(draft.drawing, request.membership.shop, request.GET.get("ref", ""))
    if request.GET.get("part") == "thing":
        return render(request, "bays/_draw_thing.html", page_context(state, draft))
    return _page(request, state, draft)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_save(request: MemberRequest) -> HttpResponse:
    """The whole drawing as the page's script has it now; answers what is to be said about it."""
    try:
        given = json.loads(request.body)
        version, drawing, ref = int(given["version"]), given["drawing"], str(given.get("ref", ""))
    except (ValueError, TypeError, KeyError, RecursionError):
        refused = Invalid("drawing_unreadable", "This is no drawing.")
        return _refused_json(refused)
    try:
        save_draft(by=request.actor, version=version, drawing=drawing)
    except Refusal as refusal:
        return _refused_json(refusal)
    return _told(request, ref)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_thing(request: MemberRequest) -> HttpResponse:
    """One act on one thing, typed or pressed: add, facts, box, corners, turn, remove, join."""
    draft = draft_of(request.actor.shop_id)
    if draft is None or not draft.drawing:
        return _refused(request, NotFound("no_draft", "There is no drawing to change."))
    drawing, ref = edits.as_drawing(draft.drawing), request.POST.get("ref", "")
    try:
        forms = None
        changed: Drawing | None
        if request.POST.get("act") in {"facts", "box", "corners"}:
            forms = forms_of(drawing, ref, request.membership.shop, request.POST)
            changed = changed_by(drawing, forms, request.POST["act"])
        else:
            changed, ref = _acted(drawing, ref, request.POST)
        if changed is None:
            return _told(request, ref, thing=forms, status=422)
        version = _version(request.POST)
        save_draft(by=request.actor, version=version, drawing=changed)
    except Refusal as refusal:
        return _refused(request, refusal)
    return _told(request, ref)


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_publish(request: MemberRequest) -> HttpResponse:
    """Put the drawing in force, or say what stands against it."""
    try:
        edition = publish_draft(by=request.actor, version=_version(request.POST))
    except PlanFaults:
        return _page_again(request, 422)  # each is listed there, and marked in the picture
    except Refusal as refusal:
        return _page_again(request, refusal.status, refusal=refusal)
    messages.success(request, f"Edition {edition.number} of the floor plan is in force.")
    return HttpResponseRedirect(reverse("floor-edition", args=[edition.number]))


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def draw_discard(request: MemberRequest) -> HttpResponse:
    """Throw the drawing away."""
    try:
        discard_draft(by=request.actor, version=_version(request.POST))
    except Refusal as refusal:
        return _page_again(request, refusal.status, refusal=refusal)
    messages.success(request, "The drawing is discarded. The edition in force stays as it is.")
    return HttpResponseRedirect(reverse("shop-setup"))


def _acted(drawing: Drawing, ref: str, posted: Mapping[str, Any]) -> tuple[Drawing, str]:
    act = posted.get("act", "")
    if act == "remove":
        return edits.remove(drawing, ref), ""
    if act == "turn":
        return turned(drawing, ref), ref
    if act == "join":
        zones = posted.getlist("zones") if hasattr(posted, "getlist") else []
        if len(set(zones)) < 2:
            raise Invalid("too_few_zones", "Choose two zones or more that are used as one bay.")
        return edits.add_joined_bay(drawing, zones)
    if act == "add":
        return _added(drawing, posted)
    raise NotFound("no_such_act", "This cannot be done to a drawing.")


def _added(drawing: Drawing, posted: Mapping[str, Any]) -> tuple[Drawing, str]:
    """A new thing of the shape given, or of its usual size in the middle of the floor."""
    kind, given = posted.get("kind", ""), posted.get("shape", "")
    if kind not in KINDS:
        raise NotFound("no_such_kind", "There is no such thing to draw.")
    ring = _given_ring(given) if given else _usual_ring(drawing, kind)
    if kind == "door":
        return edits.add_door(drawing, ring[0], ring[1])
    return edits.add(drawing, kind, ring)


def _given_ring(text: str) -> edits.Ring:
    """``[[x, y], …]`` in millimetres, from the page's script."""
    try:
        ring = [[round(float(x)), round(float(y))] for x, y in json.loads(text)]
    except (ValueError, TypeError, OverflowError, RecursionError):
        raise Invalid("no_corners", "The corners of the new thing cannot be read.") from None
    if not 2 <= len(ring) <= 500:
        raise Invalid("no_corners", "The new thing has too few or too many corners.")
    return ring


def _usual_ring(drawing: Drawing, kind: str) -> edits.Ring:
    xs = [corner[0] for corner in drawing["outline"]] or [0, 20_000]
    ys = [corner[1] for corner in drawing["outline"]] or [0, 12_000]
    middle = ((min(xs) + max(xs)) // 2, (min(ys) + max(ys)) // 2)
    if kind == "door":
        half = edits.USUAL_DOOR_MM // 2
        return [[middle[0] - half, min(ys)], [middle[0] + half, min(ys)]]
    usual = edits.USUAL[kind]
    if kind == "outline":
        return usual.ring()
    x, y = middle[0] - usual.width // 2, middle[1] - usual.depth // 2
    return edits.Box(x, y, usual.width, usual.depth).ring()


def _version(posted: Mapping[str, Any]) -> int:
    text = str(posted.get("version", ""))
    if not text.isdecimal() or len(text) > 9:
        raise Invalid("no_version", "The page does not say which drawing it shows: load it again.")
    return int(text)


def _told(
    request: MemberRequest, ref: str, *, thing: ThingForms | None = None, status: int = 200
) -> HttpResponse:
    """What is to be seen after a change, for the script or as a page."""
    draft = draft_of(request.actor.shop_id)
    if draft is None:
        return _refused(request, NotFound("no_draft", "The drawing is gone."))
    state = DrawState(draft.drawing, request.membership.shop, ref, thing)
    if _wants_json(request):
        return JsonResponse(answer_of(state, draft, request), status=status)
    if status != 200:
        return _page(request, state, draft, status=status)
    return HttpResponseRedirect(f"{reverse('draw-floor')}?ref={ref}#thing")


def _refused(request: MemberRequest, refusal: Refusal) -> HttpResponse:
    if _wants_json(request):
        return _refused_json(refusal)
    return _page_again(request, refusal.status, refusal=refusal)


def _refused_json(refusal: Refusal) -> JsonResponse:
    faults = [f"{error.path} {error.says}" for error in refusal.errors[:5]]
    said = {
        "code": refusal.code,
        "title": refusal.title,
        "detail": refusal.detail,
        "faults": faults,
        "facts": dict(refusal.facts),
    }
    return JsonResponse(said, status=refusal.status)


def _page_again(request: MemberRequest, status: int, **extra: Any) -> HttpResponse:
    draft: Draft | None = draft_of(request.actor.shop_id)
    if draft is None or not draft.drawing:
        refusal = extra.get("refusal") or NotFound("no_draft", "There is no drawing.")
        raise refusal
    state = DrawState(draft.drawing, request.membership.shop, request.POST.get("ref", ""))
    return _page(request, state, draft, status=status, **extra)


def _page(
    request: MemberRequest, state: DrawState, draft: Draft, *, status: int = 200, **extra: Any
) -> HttpResponse:
    return render(request, "bays/draw.html", page_context(state, draft, **extra), status=status)


def _wants_json(request: MemberRequest) -> bool:
    return "application/json" in request.headers.get("Accept", "")
