"""A new plan that waits: what it moves, whose promise, and accepting it whole or in part."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.models import Proposal
from jobs.pages.day import keep_change
from jobs.pages.differences import ShownPart, shown_parts
from jobs.selectors.proposals import proposal_of
from jobs.services import proposals
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Refusal


@require_safe
@allowed(Action.REPLAN)
def proposal(request: MemberRequest, proposal_id: int) -> HttpResponse:
    """Is this plan the better one?"""
    return _page(request, proposal_of(request.actor.shop_id, proposal_id))


@require_safe
@allowed(Action.REPLAN)
def goes_with(request: MemberRequest, proposal_id: int) -> HttpResponse:
    """What is accepted when these visits are: the ticks as they then stand."""
    found = proposal_of(request.actor.shop_id, proposal_id)
    return render(request, "jobs/_proposal_parts.html", _context(request, found, _ticked(request)))


@require_POST
@allowed(Action.REPLAN)
def decide(request: MemberRequest, proposal_id: int, act: str) -> HttpResponse:
    """Accept it whole or in part, leave it, or take back what was made at once."""
    by = request.actor
    found = proposal_of(by.shop_id, proposal_id)
    try:
        if act == "decline":
            proposals.decline(by=by, proposal=found)
            messages.success(request, "The plan stays as it was.")
        elif act == "take-back":
            keep_change(request, proposals.take_back(by=by, proposal=found))
        else:
            whole = request.POST.get("what") == "whole"
            visits = None if whole else _ticked(request)
            keep_change(request, proposals.accept(by=by, proposal=found, visits=visits))
    except Refusal as refusal:
        return _page(request, found, refusal=refusal, status=refusal.status)
    return HttpResponseRedirect(reverse("day"))


def _page(
    request: MemberRequest, found: Proposal, *, status: int = 200, refusal: Refusal | None = None
) -> HttpResponse:
    context = _context(request, found, None)
    if refusal is not None:
        context["refusal"] = refusal
    return render(request, "jobs/proposal.html", context, status=status)


def _context(
    request: MemberRequest, found: Proposal, ticked: frozenset[int] | None
) -> dict[str, Any]:
    """With `parts` as they stand now, or the reason why it is no longer open."""
    context: dict[str, Any] = {"proposal": found, "parts": [], "partly": ticked is not None}
    try:
        shown = proposals.look_at(by=request.actor, proposal=found)
    except Refusal as refusal:
        return context | {"refusal": refusal}
    parts = shown_parts(shown.shop_plan, shown.apart)
    taken = None
    if ticked is not None:
        taken = {v for part in shown.with_all_needed(ticked) for v in part.vehicles}
    context["parts"] = [{"part": part, "on": _is_on(part, taken)} for part in parts]
    context["moves"] = sum(len(part.changes) for part in parts)
    return context


def _is_on(part: ShownPart, taken: set[str] | None) -> bool:
    return taken is None or any(f"visit:{visit}" in taken for visit in part.visits)


def _ticked(request: MemberRequest) -> frozenset[int]:
    given = request.POST if request.method == "POST" else request.GET
    return frozenset(int(text) for text in given.getlist("visit") if text.isdecimal())
