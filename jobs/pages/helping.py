"""What would help a visit: asked on its page, worked out in the background, kept with the plan."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Study, Visit
from jobs.pages.moments import ShopWords
from jobs.selectors.studies import help_for, is_stale, plan_mark, study
from jobs.selectors.visit_page import visit_with_everything
from jobs.services.studies import ask_what_helps, stop_study
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Refusal


@require_safe
@allowed(Action.REPLAN)
def visit_help(request: MemberRequest, visit_id: int) -> HttpResponse:
    """The part of the visit's page that says what would help; it fetches itself while working."""
    found = visit_with_everything(request.actor.shop_id, visit_id)
    return _part(request, found)


@require_POST
@allowed(Action.REPLAN)
def ask_help(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Ask what would help; the answer comes into the same part."""
    found = visit_with_everything(request.actor.shop_id, visit_id)
    try:
        ask_what_helps(by=request.actor, visit=found)
    except Refusal as refusal:
        return _part(request, found, refusal=refusal, status=refusal.status)
    return _shown(request, found)


@require_POST
@allowed(Action.REPLAN)
def stop_help(request: MemberRequest, visit_id: int, study_id: int) -> HttpResponse:
    """Stop the work on it."""
    found = visit_with_everything(request.actor.shop_id, visit_id)
    try:
        stop_study(by=request.actor, study=study(request.actor.shop_id, study_id))
    except Refusal as refusal:
        return _part(request, found, refusal=refusal, status=refusal.status)
    return _shown(request, found)


def _shown(request: MemberRequest, visit: Visit) -> HttpResponse:
    if request.headers.get("HX-Request"):
        return _part(request, visit)
    return HttpResponseRedirect(reverse("visit-detail", args=[visit.pk]))


def _part(request: MemberRequest, visit: Visit, *, status: int = 200, **extra: Any) -> HttpResponse:
    asked = help_for(visit.shop_id, visit.pk)
    context = {"visit": visit, "study": asked, **extra}
    if asked is not None:
        context |= _answered(asked, ShopWords.of(request.membership.shop))
    return render(request, "jobs/_visit_help.html", context, status=status)


def _answered(asked: Study, words: ShopWords) -> dict[str, Any]:
    answer = asked.answer or {}
    helps = answer.get("helps", [])
    return {
        "stale": not asked.open and is_stale(asked, plan_mark(asked.shop_id)),
        "when": words.moment(asked.ended_at or asked.asked_at),
        "helps": [_line(one) for one in helps],
        "helps_not": answer.get("helps_not", []),
        "noise": answer.get("noise_minutes", 0),
        "runs": answer.get("runs", 0),
    }


def _line(one: dict[str, Any]) -> dict[str, Any]:
    """A remedy that costs the others more than it gains is shown as that."""
    costs_others = one["fewer_minutes_late"] < 0 or one["fewer_others_late"] < 0
    what, _, rest = one["says"].partition(f"{one['what']}: ")
    return {"what": one["what"], "says": rest or what, "costs_others": costs_others}
