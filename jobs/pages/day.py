"""The day board: how the day stands, who works where when, and what to do when it breaks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bays.planner import explain
from jobs.drawing import draw_day_board
from jobs.models import Step
from jobs.pages.board import day_board
from jobs.pages.disruption_forms import TechnicianOutForm, UnitOutForm, ZoneClosedForm
from jobs.pages.moments import ShopWords
from jobs.planning.problem import load_shop_plan
from jobs.selectors.day import Day, Standing, VisitStanding, day_of
from jobs.selectors.proposals import last_applied, open_proposals
from jobs.selectors.step_moves import last_move_of
from jobs.services import replans
from jobs.services.plan_changes import PlanChange
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal

CHANGE_KEY = "jobs.plan_change"
TAGS = {
    Standing.ON_PROMISE: "ok",
    Standing.KEPT: "ok",
    Standing.AT_RISK: "tape",
    Standing.NOT_PLANNED: "tape",
    Standing.LATE: "stop",
}
FORMS = {
    "technician-out": TechnicianOutForm,
    "unit-out": UnitOutForm,
    "zone-closed": ZoneClosedForm,
}
NEEDS = {
    "technician-out": Action.REPLAN,
    "unit-out": Action.TAKE_UNIT_OUT,
    "zone-closed": Action.REPLAN,
    "plan-again": Action.REPLAN,
}
TITLES = {
    "technician-out": ("Somebody is away", "Record it and plan again"),
    "unit-out": ("A unit is out of service", "Take it out and plan again"),
    "zone-closed": ("A piece of floor is closed", "Close it and plan again"),
}


@dataclass(frozen=True)
class VisitRow:
    """One line of the list under the board."""

    one: VisitStanding
    promise: str
    finish: str
    finish_word: str
    state: str
    standing: str
    tag: str
    next_says: str


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def day(request: MemberRequest) -> HttpResponse:
    """How does the day stand?"""
    return _page(request, _on(request))


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def day_panel(request: MemberRequest) -> HttpResponse:
    """The part of the day board that follows what happens."""
    return render(request, "jobs/_day_panel.html", _panel(request, _on(request)))


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def day_reasons(request: MemberRequest) -> HttpResponse:
    """Why the late visits are late, from the plan in force; read after the page is there."""
    shop, now = request.membership.shop, timezone.now()
    found = day_of(shop.pk, shop.zone, _on(request), now)
    late = [one for one in found.visits if one.standing == Standing.LATE and one.open]
    return render(request, "jobs/_day_reasons.html", {"reasons": _reasons(request, late)})


@require_POST
@allowed(Action.SEE_DAY_BOARD)
def disruption(request: MemberRequest, kind: str) -> HttpResponse:
    """Record what broke the day and show what the new plan changes."""
    by, words = request.actor, ShopWords.of(request.membership.shop)
    form = FORMS[kind](request.POST, shop_id=by.shop_id, words=words, prefix=kind)
    if not form.is_valid():
        return _page(request, words.today, broken={"kind": kind, "form": form}, status=422)
    given = form.cleaned_data
    acts: dict[str, Callable[[], PlanChange]] = {
        "technician-out": lambda: replans.technician_out(by=by, **given),
        "unit-out": lambda: replans.unit_out(
            by=by, unit=given["unit"], reason=given["reason"], until=given["ends_at"]
        ),
        "zone-closed": lambda: replans.zone_closed(
            by=by,
            code=given["zone"].code,
            starts_at=given["starts_at"],
            ends_at=given["ends_at"],
            reason=given["reason"],
        ),
    }
    return _changed(request, acts[kind], broken={"kind": kind, "form": form})


@require_POST
@allowed(Action.REPLAN)
def plan_again(request: MemberRequest) -> HttpResponse:
    """Find new times for what did not start, and put right what the plan breaks."""
    why = f"{request.actor.name} had the day planned again"
    return _changed(request, lambda: replans.repair_plan(by=request.actor, why=why))


def _changed(
    request: MemberRequest, act: Callable[[], PlanChange], broken: dict[str, Any] | None = None
) -> HttpResponse:
    try:
        change = act()
    except Refusal as refusal:
        today = ShopWords.of(request.membership.shop).today
        extra = {"refusal": refusal, "broken": broken}
        return _page(request, today, status=refusal.status, **extra)
    if change.waits:
        return HttpResponseRedirect(reverse("proposal", args=[change.proposal_id]))
    if change.unchanged:
        messages.success(request, f"{change.why}. No step had to move.")
    elif change.proposal_id is None:  # the board tells of what was made at once
        keep_change(request, change)
    return HttpResponseRedirect(reverse("day"))


def keep_change(request: MemberRequest, change: PlanChange) -> None:
    """Show on the next day board what a new plan changed and whose promise it moves."""
    request.session[CHANGE_KEY] = {
        "why": change.why,
        "changes": list(change.changes),
        "promises": [
            {
                "says": promise.says.removeprefix(f"{promise.ro_number} "),
                "visit_id": promise.visit_id,
                "ro": promise.ro_number,
            }
            for promise in change.promises
        ],
    }


def _on(request: MemberRequest) -> date:
    """The day asked for; today where none or nonsense is."""
    try:
        return date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        return ShopWords.of(request.membership.shop).today


def _page(request: MemberRequest, on: date, *, status: int = 200, **extra: Any) -> HttpResponse:
    shop, by = request.membership.shop, request.actor
    words = ShopWords.of(shop)
    context = _panel(request, on)
    context |= {
        "previous_on": on - timedelta(days=1),
        "next_on": on + timedelta(days=1),
        "is_today": on == words.today,
        "may_book": may(by, Action.BOOK_VISIT),
        "may_replan": may(by, Action.REPLAN),
        "dialogs": _dialogs(request, words),
        "change": request.session.pop(CHANGE_KEY, None),
        **extra,
    }
    return render(request, "jobs/day.html", context, status=status)


def _dialogs(request: MemberRequest, words: ShopWords) -> list[dict[str, Any]]:
    """The forms this person may use, filled with the times that are likely."""
    shop_id = request.actor.shop_id
    initial = {"starts_at": words.field_value(words.now)}
    return [
        {
            "kind": kind,
            "title": TITLES[kind][0],
            "act": TITLES[kind][1],
            "form": form(shop_id=shop_id, words=words, prefix=kind, initial=initial),
        }
        for kind, form in FORMS.items()
        if may(request.actor, NEEDS[kind])
    ]


def _panel(request: MemberRequest, on: date) -> dict[str, Any]:
    shop = request.membership.shop
    words = ShopWords.of(shop)
    found = day_of(shop.pk, shop.zone, on, words.now)
    may_move = may(request.actor, Action.REPLAN)
    return {
        "day": found,
        "on": on,
        "facts": _facts(found),
        "board": draw_day_board(day_board(found, words, may_move=may_move)),
        "may_move": may_move,
        "proposals": list(open_proposals(shop.pk)) if may_move else [],
        "applied": last_applied(shop.pk, words.now) if may_move else None,
        "last_move": _last_move(request) if may_move else "",
        "rows": [_row(one, found, words) for one in found.visits],
        "late": [one for one in found.visits if one.standing == Standing.LATE and one.open],
        "may_book": may(request.actor, Action.BOOK_VISIT),
    }


def _last_move(request: MemberRequest) -> str:
    """What this person moved last and may take back, in words; empty where there is nothing."""
    by = request.actor
    event = last_move_of(by.shop_id, by.membership_id, timezone.now())
    changes = (event.after or {}).get("changes", []) if event is not None else []
    more = f" and {len(changes) - 1} more" if len(changes) > 1 else ""
    return f"{changes[0]}{more}" if changes else ""


def _facts(found: Day) -> list[dict[str, Any]]:
    def of(*standings: Standing) -> list[VisitStanding]:
        return [one for one in found.visits if one.standing in standings]

    good = of(Standing.ON_PROMISE, Standing.KEPT)
    at_risk, late, unplanned = (
        of(Standing.AT_RISK),
        of(Standing.LATE),
        of(Standing.NOT_PLANNED),
    )
    today = found.starts_at <= found.now < found.ends_at
    facts: list[dict[str, Any]] = [
        {"number": len(found.visits), "word": "visits today" if today else "visits that day"},
        {"number": len(good), "word": "on promise"},
        {"number": len(at_risk), "word": _named("at risk", at_risk), "kind": at_risk and "tape"},
        {"number": len(late), "word": _named("late", late), "kind": late and "stop"},
    ]
    if unplanned:
        facts.append(
            {"number": len(unplanned), "word": _named("without a time", unplanned), "kind": "tape"}
        )
    return facts


def _named(word: str, found: list[VisitStanding]) -> str:
    names = [
        f"{one.visit.ro_number} by {one.late_minutes} min"
        if one.late_minutes
        else one.visit.ro_number
        for one in found
    ]
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"{word}: {', '.join(names[:3])}{more}" if names else word


def _row(one: VisitStanding, found: Day, words: ShopWords) -> VisitRow:
    standing = str(one.standing)
    if one.late_minutes:
        standing = f"{one.late_minutes} min late"
    finish = words.briefly(one.finishes_at, found.on) if one.finishes_at else ""
    return VisitRow(
        one=one,
        promise=words.briefly(one.visit.promised_at, found.on),
        finish=finish,
        finish_word="planned done" if one.open else "was ready",
        state=one.visit.state.replace("_", " "),
        standing=standing,
        tag=TAGS[one.standing],
        next_says=_next(one, found, words),
    )


def _next(one: VisitStanding, found: Day, words: ShopWords) -> str:
    """What happens to the vehicle next, in a line."""
    visit, step = one.visit, one.next_step
    if visit.state == "ready":
        return "hand it over"
    if visit.state == "released":
        return "gone"
    if visit.state == "on_hold":
        return f"on hold: {visit.hold_reason}" if visit.hold_reason else "on hold"
    if step is None:
        return "mark it ready"
    if step.starts_at is None or step.technician is None:
        return f"{step.label}, no time yet"
    place = step.placement_label or "outside"
    if step.state == Step.State.DOING:
        until = words.briefly(step.ends_at, found.on) if step.ends_at else "now"
        return f"{step.label} until {until}, {place}, {step.technician.name}"
    at = words.briefly(step.starts_at, found.on)
    return f"{step.label} at {at}, {place}, {step.technician.name}"


def _reasons(request: MemberRequest, late: list[VisitStanding]) -> list[dict[str, Any]]:
    if not late:
        return []
    try:
        shop_plan = load_shop_plan(request.membership.shop, timezone.now())
    except NotFound:
        return []
    planned = {row.vehicle for row in shop_plan.plan.rows}
    found = []
    may_ask = may(request.actor, Action.REPLAN)
    for one in late:
        vehicle = f"visit:{one.visit.pk}"
        if vehicle in planned:
            says = explain(shop_plan.problem, shop_plan.plan, vehicle).says
            says = says.removeprefix(f"{one.visit.ro_number} ")
        elif one.next_step is None:
            says = "has all its work done: mark it ready."
        else:
            says = "has no time in the plan: plan the day again."
        found.append({"visit": one.visit, "says": says, "may_ask_help": may_ask})
    return found
