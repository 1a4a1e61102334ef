"""A visit: where it stands against its promise, its plan and calibrations, and what may be done."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_POST, require_safe

from jobs.intake import vin
from jobs.lifecycle import VisitState, visit_acts
from jobs.models import Visit
from jobs.pages.moments import ShopWords, duration, listed
from jobs.pages.visit_acts import ACTS, BY_NAME, Act, act_form
from jobs.pages.visit_forms import DetailsForm, PlateForm, ReasonForm, WaitForm
from jobs.pages.visit_history import change_lines, event_lines
from jobs.pages.visit_steps import calibration_facts, step_facts, with_the_next
from jobs.procedures import WORK_CODES
from jobs.selectors.day import NOT_FINISHED, Standing, standing_of
from jobs.selectors.scans import comparison_of
from jobs.selectors.visit_page import unit_names, visit_with_everything
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Refusal, Stale
from shopcal.history.selectors import events_of_visit

Done = Callable[..., Any]

STATE_TAGS = {
    "booked": "",
    "checked_in": "work",
    "in_work": "work",
    "on_hold": "tape",
    "ready": "ok",
    "released": "ok",
    "cancelled": "stop",
}
STANDING_TAGS = {
    Standing.ON_PROMISE: "ok",
    Standing.KEPT: "ok",
    Standing.AT_RISK: "tape",
    Standing.NOT_PLANNED: "tape",
    Standing.LATE: "stop",
    Standing.CANCELLED: "",
}


@require_safe
@allowed(Action.SEE_VISIT)
def visit(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Where does this visit stand, and what comes next?"""
    return _page(request, visit_with_everything(request.actor.shop_id, visit_id))


@require_safe
@allowed(Action.SEE_VISIT)
def visit_panel(request: MemberRequest, visit_id: int) -> HttpResponse:
    """The part that follows what happens."""
    found = visit_with_everything(request.actor.shop_id, visit_id)
    return render(request, "jobs/_visit_panel.html", _panel(request, found))


@require_POST
@allowed(Action.SEE_VISIT)
def visit_act(request: MemberRequest, visit_id: int, act: str) -> HttpResponse:
    """Move a visit on; the service has the last word on who may and what is still missing."""
    from jobs.services import visits
    from jobs.services.sign_off import sign_off

    found = visit_with_everything(request.actor.shop_id, visit_id)
    form = act_form(BY_NAME[act], found, request.POST)
    if form is not None and not form.is_valid():
        return _page(request, found, status=422, forms={act: form}, opened=act)
    given = form.cleaned_data if form is not None else {}
    service: Done = sign_off if act == "sign_off" else getattr(visits, act)
    return _done(request, found, lambda: service(by=request.actor, visit=found, **given), act)


@require_POST
@allowed(Action.CHANGE_VISIT)
def visit_details(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Change what was said on the phone, unless somebody else changed it meanwhile."""
    from jobs.services import visits

    found = visit_with_everything(request.actor.shop_id, visit_id)
    form = DetailsForm(request.POST)
    if not form.is_valid():
        return _page(request, found, status=422, details=form)
    given = form.changes(found)
    return _done(
        request,
        found,
        lambda: visits.change_details(
            by=request.actor, visit=found, version=form.cleaned_data["version"], **given
        ),
        details=form,
    )


@require_POST
@allowed(Action.CHECK_IN)
def visit_confirm(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Say which of the systems nobody had seen are on the vehicle."""
    from jobs.services import visits

    found = visit_with_everything(request.actor.shop_id, visit_id)

    def answered(answer: str) -> list[str]:
        asked: list[str] = found.systems_to_confirm
        return [code for code in asked if request.POST.get(f"system_{code}") == answer]

    has, has_not = answered("yes"), answered("no")
    return _done(
        request,
        found,
        lambda: visits.confirm_systems(by=request.actor, visit=found, has=has, has_not=has_not),
    )


@require_POST
@allowed(Action.OVERRIDE_GUARD)
def visit_override(request: MemberRequest, visit_id: int) -> HttpResponse:
    """A manager lets one guard of the visit pass, with the reason."""
    from jobs.services import overrides

    found = visit_with_everything(request.actor.shop_id, visit_id)
    guard, reason = request.POST.get("guard", ""), request.POST.get("reason", "")
    return _done(
        request,
        found,
        lambda: overrides.override_guard(by=request.actor, visit=found, guard=guard, reason=reason),
    )


@require_POST
@allowed(Action.PIN_STEP)
def visit_pin(request: MemberRequest, visit_id: int, step_id: int) -> HttpResponse:
    """Keep a step where the plan has it, or let it go."""
    from jobs.services.steps import pin_step

    found = visit_with_everything(request.actor.shop_id, visit_id)
    step = next((step for step in found.steps.all() if step.pk == step_id), None)
    if step is None:
        return _page(request, found, status=404)
    pinned = request.POST.get("pinned") == "yes"
    return _done(request, found, lambda: pin_step(by=request.actor, step=step, pinned=pinned))


@require_POST
@allowed(Action.CHANGE_VISIT)
def visit_wait(request: MemberRequest, visit_id: int, step_id: int) -> HttpResponse:
    """Let a step wait for a part or an approval, or say that it is there."""
    from jobs.services.waiting import wait_for, wait_no_more

    found = visit_with_everything(request.actor.shop_id, visit_id)
    step = next((step for step in found.steps.all() if step.pk == step_id), None)
    if step is None:
        return _page(request, found, status=404)
    if request.POST.get("there") == "yes":
        return _done(request, found, lambda: wait_no_more(by=request.actor, step=step))
    words = ShopWords.of(request.membership.shop)
    form = WaitForm(request.POST, prefix=f"wait-{step.pk}", words=words)
    if not form.is_valid():
        return _page(request, found, status=422, waiting={step.pk: form})
    given = form.cleaned_data
    return _done(request, found, lambda: wait_for(by=request.actor, step=step, **given))


def _done(
    request: MemberRequest, found: Visit, service: Callable[[], Any], act: str = "", **extra: Any
) -> HttpResponse:
    try:
        service()
    except Refusal as refusal:
        current = visit_with_everything(request.actor.shop_id, found.pk)
        extra |= {"refusal": refusal, "unmet": refusal.facts.get("unmet", ())}
        if act:
            extra["refused"] = BY_NAME[act]
        if isinstance(refusal, Stale):
            words = ShopWords.of(request.membership.shop)
            extra["meanwhile"] = change_lines(refusal.facts.get("changes", ()), words)
            if isinstance(extra.get("details"), DetailsForm):
                extra["details"].renew(current)
        return _page(request, current, status=refusal.status, **extra)
    messages.success(request, f"{BY_NAME[act].word}: done." if act else "Saved.")
    return HttpResponseRedirect(reverse("visit-detail", args=[found.pk]))


def _page(request: MemberRequest, found: Visit, *, status: int = 200, **extra: Any) -> HttpResponse:
    by = request.actor
    forms, waiting = extra.pop("forms", {}), extra.pop("waiting", {})
    # Dialogs of every state: the page follows the visit, and an open one must not be swapped away.
    dialogs = [
        _asked(act, form)
        for act in ACTS.values()
        if _allowed(act, request) and (form := forms.get(act.name) or act_form(act, found))
    ]
    context = {
        **_panel(request, found, waiting),
        "dialogs": dialogs,
        "opened": next((d for d in dialogs if d["act"].name == extra.pop("opened", "")), None),
        "may_change": may(by, Action.CHANGE_VISIT) and found.state not in ("released", "cancelled"),
        "details": DetailsForm.of(found),
        "may_override": may(by, Action.OVERRIDE_GUARD),
        "records_url": _records_url(found),
        "may_ask_help": may(by, Action.REPLAN) and found.state in NOT_FINISHED,
        **extra,
    }
    return render(request, "jobs/visit.html", context, status=status)


def _acts(found: Visit, request: MemberRequest) -> list[Act]:
    """What the table knows from this state and this person's role allows."""
    acts = [ACTS[name] for name in visit_acts(VisitState(found.state)) if name in ACTS]
    return [act for act in acts if _allowed(act, request)]


def _allowed(act: Act, request: MemberRequest) -> bool:
    return any(may(request.actor, needed) for needed in act.actions)


def _asked(act: Act, form: ReasonForm | PlateForm) -> dict[str, Any]:
    """An act with its form, and the one field of it that a dialog shows."""
    return {"act": act, "form": form, "field": next(iter(form))}


def _records_url(found: Visit) -> str:
    """Where the records are, if that part is installed; it lies above this one."""
    try:
        return reverse("visit-records", args=[found.pk])
    except NoReverseMatch:
        return ""


def _panel(
    request: MemberRequest, found: Visit, waiting: Mapping[int, WaitForm] | None = None
) -> dict[str, Any]:
    words = ShopWords.of(request.membership.shop)
    one = standing_of(found, words.now)
    names = unit_names(found)
    standing = f"{duration(one.late_minutes)} late" if one.late_minutes else str(one.standing)
    return {
        "visit": found,
        "acts": [(act, act_form(act, found) is not None) for act in _acts(found, request)],
        "state": found.state.replace("_", " "),
        "state_tag": STATE_TAGS[found.state],
        "standing": standing,
        "standing_tag": STANDING_TAGS[one.standing],
        "facts": _facts(found, one.finishes_at, standing, words),
        "steps": [
            step_facts(step, later, names, words, (waiting or {}).get(step.pk))
            for step, later in with_the_next(found)
        ],
        "calibrations": [calibration_facts(c) for c in found.calibrations.all()],
        "customer": _customer(found, words),
        "vehicle": _vehicle(found, words),
        "confirm": [
            {"code": system, "name": system.replace("_", " ")}
            for system in found.systems_to_confirm
        ],
        "scans": comparison_of(found),
        "overrides": [
            {
                "at": row.overridden_at,
                "by": row.overridden_by,
                "says": row.says,
                "detail": row.reason,
                "kind": "tape",
            }
            for row in found.overrides.all()
        ],
        "events": event_lines(events_of_visit(found.shop_id, found.pk), words),
        "zone": words.zone.key,
        "may_pin": may(request.actor, Action.PIN_STEP),
        "may_wait": may(request.actor, Action.CHANGE_VISIT),
        "may_confirm": may(request.actor, Action.CHECK_IN),
        "at_vehicle": may(request.actor, Action.RUN_CALIBRATION),
    }


def _facts(found: Visit, finishes_at: Any, standing: str, words: ShopWords) -> list[dict[str, Any]]:
    promise = {"number": words.moment(found.promised_at), "word": "promised"}
    if found.state == "cancelled":
        return [{"number": "cancelled", "word": found.cancelled_reason, "kind": "stop"}]
    late = standing.endswith("late")
    if finishes_at is None:
        return [promise, {"number": "no time", "word": "not all steps are planned", "kind": "tape"}]
    word = "was ready" if found.state in ("ready", "released") else "done by plan"
    done = {
        "number": words.briefly(finishes_at, words.day_of(found.promised_at)),
        "word": f"{word}, {standing}",
        "kind": "stop" if late else "tape" if standing == "at risk" else "",
    }
    facts = [promise, done]
    if found.state == "on_hold":
        facts.append({"number": "on hold", "word": found.hold_reason, "kind": "tape"})
    return facts


def _customer(found: Visit, words: ShopWords) -> list[tuple[str, str]]:
    pairs = [
        ("Customer", found.customer_name),
        ("Phone", found.customer_phone),
        ("E-mail", found.customer_email),
        ("Arrives", words.moment(found.arrives_at)),
        ("Wanted by", words.moment(found.wanted_by) if found.wanted_by else ""),
        ("Checked in", words.moment(found.checked_in_at) if found.checked_in_at else ""),
        ("Booked", f"{words.moment(found.booked_at)} by {found.booked_by}"),
        ("Notes", found.notes),
    ]
    return [(name, value) for name, value in pairs if value]


def _vehicle(found: Visit, words: ShopWords) -> list[tuple[str, str]]:
    vehicle = found.vehicle
    pairs = [
        ("Vehicle", str(vehicle)),
        ("VIN", vehicle.vin),
        ("VIN stands", _vin_stands(found)),
        ("Model year", str(vehicle.model_year or "")),
        ("Plate", vehicle.plate),
        ("Size", words.vehicle_size(vehicle.length_mm, vehicle.width_mm)),
        ("Work done", listed([WORK_CODES.get(code, code) for code in found.work_done])),
    ]
    return [(name, value) for name, value in pairs if value]


def _vin_stands(found: Visit) -> str:
    right = vin.check(found.vehicle.vin, confirmed=True).check_digit_right
    digit = "check digit right" if right else "check digit not right"
    return digit if found.vin_confirmed else f"{digit}, not yet compared with the plate"
