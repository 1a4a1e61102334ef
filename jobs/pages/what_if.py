"""What if: last month's demand planned again in another shop."""

from __future__ import annotations

from datetime import date
from itertools import groupby
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.drawing import UseMeters, UseRow, draw_use
from jobs.models import Study
from jobs.pages.moments import ShopWords
from jobs.planning.other_shops import choices
from jobs.selectors.studies import studies, study
from jobs.services.studies import ask_what_if, stop_study
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal

SHOWN = 8


@require_http_methods(["GET", "HEAD", "POST"])
@allowed(Action.SEE_FIGURES)
def what_if(request: MemberRequest) -> HttpResponse:
    """Ask, and the latest answers."""
    if request.method != "POST":
        return _page(request)
    question = {
        "change": request.POST.get("change", ""),
        "earlier_minutes": _minutes(request.POST.get("earlier_minutes", "")),
        "later_minutes": _minutes(request.POST.get("later_minutes", "")),
        "saturday": request.POST.get("saturday") == "yes",
    }
    try:
        ask_what_if(by=request.actor, question=question)
    except Refusal as refusal:
        return _page(request, status=refusal.status, refusal=refusal, question=question)
    return HttpResponseRedirect(reverse("what-if"))


@require_safe
@allowed(Action.SEE_FIGURES)
def what_if_answer(request: MemberRequest, study_id: int) -> HttpResponse:
    """One answer; it fetches itself while it is being worked out."""
    found = study(request.actor.shop_id, study_id)
    if found.kind != Study.Kind.WHAT_IF:
        raise NotFound("no_study", "There is no such question in this shop.")
    shown = shown_answer(found, ShopWords.of(request.membership.shop))
    return render(request, "jobs/_what_if_answer.html", {"one": shown})


@require_POST
@allowed(Action.SEE_FIGURES)
def stop_what_if(request: MemberRequest, study_id: int) -> HttpResponse:
    """Stop the work on it."""
    try:
        stop_study(by=request.actor, study=study(request.actor.shop_id, study_id))
    except Refusal as refusal:
        return _page(request, status=refusal.status, refusal=refusal)
    return HttpResponseRedirect(reverse("what-if"))


def _minutes(typed: str) -> int:
    """Nonsense is no change, which is refused in words."""
    try:
        return int(typed or 0)
    except ValueError:
        return 0


def _page(request: MemberRequest, *, status: int = 200, **extra: Any) -> HttpResponse:
    shop_id = request.actor.shop_id
    words = ShopWords.of(request.membership.shop)
    asked = studies(shop_id, Study.Kind.WHAT_IF)[:SHOWN]
    grouped = groupby(choices(shop_id), key=lambda choice: choice.heading)
    context = {
        "headings": [(heading, list(found)) for heading, found in grouped],
        "answers": [shown_answer(one, words) for one in asked],
        **extra,
    }
    return render(request, "jobs/what_if.html", context, status=status)


def shown_answer(found: Study, words: ShopWords) -> dict[str, Any]:
    """A question with its answer as sentence, table and drawing."""
    answer = found.answer or {}
    shops = answer.get("shops", [])
    shown: dict[str, Any] = {
        "study": found,
        "when": words.moment(found.ended_at or found.asked_at),
        "rows": [_row(shop) for shop in shops],
        "uses": _uses(shops),
        "runs": answer.get("runs", 0),
    }
    if shops:
        first_on, last_on = (date.fromisoformat(answer[k]) for k in ("first_on", "last_on"))
        shown["period"] = f"{words.day(first_on)} to {words.day(last_on)}"
        shown["drawing"] = draw_use(_meters(found, shops))
    return shown


def _meters(found: Study, shops: list[dict[str, Any]]) -> UseMeters:
    rows = tuple(
        UseRow(
            shop["name"],
            shop["kept"][1] / shop["visits"] if shop["visits"] else 0.0,
            f"{shop['kept'][1]:.0f} of {shop['visits']} kept",
        )
        for shop in shops
    )
    return UseMeters("Promises kept", rows, id=f"kept-{found.pk}")


def _row(shop: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": shop["name"],
        "kept": _spread(shop["kept"]),
        "late": shop["visits"] - round(shop["kept"][1]),
        "late_minutes": _spread(shop["late_minutes"]),
        "not_planned": round(shop["not_planned"][1]),
        "done_a_day": f"{shop['done_a_day'][1]:.1f}",
        "hours_here": f"{shop['hours_here'][1]:.1f}",
    }


def _uses(shops: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Use of floor, people and each type, one column a shop, as shares in percent."""
    names = dict.fromkeys(name for shop in shops for name in shop["use"])
    return [
        {
            "name": name[:1].upper() + name[1:],
            "shares": [
                f"{shop['use'][name][1] * 100:.0f} %" if name in shop["use"] else ""
                for shop in shops
            ],
        }
        for name in names
    ]


def _spread(runs: list[float]) -> str:
    """The middle, and from what to what where the runs differ."""
    low, middle, high = (f"{value:.0f}" for value in runs)
    return middle if low == high else f"{middle} ({low}–{high})"
