"""How is the shop set up? Shop file in and out, floor plans, hours, people."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from bays.models import Absence, Closure
from bays.pages.moments import ShopForm, today_in
from bays.pages.setup_forms import AbsenceForm, ClosureForm, ShopFileForm
from bays.selectors.setup import floor_editions, people_overview, upcoming_absences, week
from bays.services.hours import put_closure, remove_closure
from bays.services.people import record_absence
from bays.services.transfer import export_shop, import_shop
from bays.transfer.document import dump_yaml
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Invalid, NotFound, Refusal


@require_safe
@allowed(Action.IMPORT_EXPORT)
def shop_setup(request: MemberRequest) -> HttpResponse:
    """Everything that is set up, with the acts that change it."""
    return _page(request)


@require_POST
@allowed(Action.IMPORT_EXPORT)
def setup_import(request: MemberRequest) -> HttpResponse:
    """Bring a shop file in; with any fault nothing is changed and all are listed."""
    form = ShopFileForm(request.POST, request.FILES, shop=request.membership.shop, prefix="file")
    if not form.is_valid():
        return _page(request, status=422, file_form=form)
    try:
        summary = import_shop(by=request.actor, document=form.cleaned_data["file"])
    except Invalid as refused:
        return _page(request, status=422, file_faults=refused.errors)
    except Refusal as refused:
        return _page(request, status=refused.status, refusal=refused)
    for says in summary.says():
        messages.success(request, says)
    return HttpResponseRedirect(reverse("shop-setup"))


@require_safe
@allowed(Action.IMPORT_EXPORT)
def setup_export(request: MemberRequest, form: str) -> HttpResponse:
    """The shop file, as YAML or JSON."""
    document = export_shop(request.actor.shop_id)
    if form == "json":
        text, kind = json.dumps(document, indent=2, ensure_ascii=False), "application/json"
    else:
        text, kind = dump_yaml(document), "application/yaml"
    name = f"{request.membership.shop.slug}-{today_in(request.membership.shop):%Y-%m-%d}.{form}"
    return HttpResponse(
        text,
        content_type=f"{kind}; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


@require_POST
@allowed(Action.EDIT_PEOPLE)
def add_absence(request: MemberRequest) -> HttpResponse:
    """Record that somebody is away; steps planned with them are planned again soon after."""
    form = AbsenceForm(request.POST, shop=request.membership.shop, prefix="absence")

    def act() -> str:
        absence = record_absence(by=request.actor, **form.cleaned_data)
        return f"{absence.technician.name} is down as away."

    return _acted(request, form, "absence_form", act)


@require_POST
@allowed(Action.EDIT_HOURS)
def add_closure(request: MemberRequest) -> HttpResponse:
    """Shut the shop on some days."""
    form = ClosureForm(request.POST, shop=request.membership.shop, prefix="closure")

    def act() -> str:
        closure: Closure = put_closure(by=request.actor, **form.cleaned_data).row
        return f"The shop is shut from {closure.starts_on} to {closure.ends_on}."

    return _acted(request, form, "closure_form", act)


@require_POST
@allowed(Action.EDIT_HOURS)
def drop_closure(request: MemberRequest, closure_id: int) -> HttpResponse:
    """Open the shop on these days after all."""
    closure = Closure.objects.for_shop(request.actor.shop_id).filter(pk=closure_id).first()
    if closure is None:
        raise NotFound("no_closure", "There is no such closure in this shop.")
    remove_closure(by=request.actor, closure=closure)
    messages.success(request, f"The shop is open again: {closure.reason} is removed.")
    return HttpResponseRedirect(reverse("shop-setup"))


def _acted(
    request: MemberRequest, form: ShopForm, name: str, act: Callable[[], str]
) -> HttpResponse:
    if not form.is_valid():
        return _page(request, status=422, **{name: form})
    try:
        says = act()
    except Refusal as refusal:
        form.take(refusal.errors)
        extra = {name: form, "refusal": None if refusal.errors else refusal}
        return _page(request, status=refusal.status, **extra)
    messages.success(request, says)
    return HttpResponseRedirect(reverse("shop-setup"))


def _page(request: MemberRequest, *, status: int = 200, **extra: Any) -> HttpResponse:
    shop = request.membership.shop
    today, now = today_in(shop), timezone.now()
    context: dict[str, Any] = {
        "editions": floor_editions(shop.pk),
        "week": week(shop.pk),
        "closures": Closure.objects.for_shop(shop.pk).filter(ends_on__gte=today),
        "people": people_overview(shop.pk, today),
        "absences": _absence_rows(upcoming_absences(shop.pk, now)),
        "file_form": ShopFileForm(shop=shop, prefix="file"),
        "absence_form": AbsenceForm(shop=shop, prefix="absence"),
        "closure_form": ClosureForm(shop=shop, prefix="closure"),
        **extra,
    }
    return render(request, "bays/setup.html", context, status=status)


def _absence_rows(absences: list[Absence]) -> list[tuple[Absence, bool]]:
    now = timezone.now()
    return [(absence, absence.starts_at <= now) for absence in absences]
