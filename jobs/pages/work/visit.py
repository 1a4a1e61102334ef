"""One vehicle: its next act, and what its buttons do."""

from __future__ import annotations

from django.http import Http404, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Visit
from jobs.pages.work.acts import HANDLERS, calibration_in
from jobs.pages.work.bodies import check_body, measure_body
from jobs.pages.work.here import Refused, calibrations_of, find_visit, here_of
from jobs.pages.work.panel import build_panel
from jobs.pages.work.reading_acts import keep_readings
from jobs.pages.work.sheet import draw_sheet
from jobs.planning.space import shape_of
from jobs.selectors.facts import attempt_state
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Conflict, Invalid, NotFound, Refusal

# A second tap, or a second person, asked for what was done a moment before.
DONE_ALREADY = ("not_now", "struck_already", "not_in_post_scan")


@require_safe
@allowed(Action.SEE_VISIT)
def work_visit(request: MemberRequest, visit_id: int) -> HttpResponse:
    """What is to be done next at this vehicle?"""
    visit = find_visit(request.actor.shop_id, visit_id)
    return _answer(request, visit, ask=request.GET.get("ask", ""))


@require_POST
@allowed(Action.SEE_VISIT)
def work_act(request: MemberRequest, visit_id: int, act: str) -> HttpResponse:
    """Do one act, then show the next."""
    visit = find_visit(request.actor.shop_id, visit_id)
    handler = HANDLERS.get(act)
    if handler is None:
        raise Http404
    try:
        handler(request, visit)
    except NotFound:
        raise
    except Refusal as refusal:
        if _is_done_already(refusal):
            return _answer(request, _again(request, visit), done_already=True)
        refused = Refused(act, refusal, request.POST, from_file=bool(request.FILES))
        return _answer(request, _again(request, visit), refused=refused, status=refusal.status)
    if request.htmx:
        return _answer(request, _again(request, visit))
    return HttpResponseRedirect(reverse("work-visit", kwargs={"visit_id": visit.pk}))


@require_POST
@allowed(Action.RECORD_READING)
def work_reading(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Keep what was typed as soon as its field is left, and judge it; the fields stay."""
    visit = find_visit(request.actor.shop_id, visit_id)
    calibration = calibration_in(request, visit)
    refused = None
    try:
        keep_readings(request, calibration)
    except Invalid as refusal:
        refused = Refused("readings", refusal, request.POST)
    calibrations = calibrations_of(visit)
    current = next(one for one in calibrations if one.pk == calibration.pk)
    state = attempt_state(current)
    here = here_of(request.actor, visit, calibrations, state=state, refused=refused)
    checking = request.POST.get("stage") == "check_set_out"
    body = check_body(here, state) if checking else measure_body(here, state)
    missing = {*state.results.missing}
    drawing = draw_sheet(
        state.content,
        shape_of(visit.vehicle),
        state.results,
        checking=checking,
        units=here.units,
        done_inputs=[i.name for i in state.content.worksheet.inputs if i.name not in missing],
    )
    context = {"panel": {"body": body, "drawing": drawing}}
    return render(request, "jobs/work/_judged.html", context)


def _again(request: MemberRequest, visit: Visit) -> Visit:
    """The visit as it is now; services work on rows of their own."""
    return find_visit(request.actor.shop_id, visit.pk)


def _is_done_already(refusal: Refusal) -> bool:
    if not isinstance(refusal, Conflict):
        return False
    no_such_move = refusal.facts.get("move") == "no_such_move"
    return no_such_move or refusal.code in DONE_ALREADY


def _answer(
    request: MemberRequest,
    visit: Visit,
    *,
    refused: Refused | None = None,
    done_already: bool = False,
    ask: str = "",
    status: int = 200,
) -> HttpResponse:
    panel = build_panel(request.actor, visit, refused, done_already=done_already, ask=ask)
    template = "jobs/work/_panel.html" if request.htmx else "jobs/work_visit.html"
    return render(request, template, {"panel": panel}, status=status)
