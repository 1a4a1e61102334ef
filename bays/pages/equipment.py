"""Is the equipment fit? What is due, every unit by type, and one unit with its acts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from bays.models import EquipmentUnit
from bays.pages.equipment_forms import BackForm, OutForm, UpkeepForm
from bays.pages.moments import ShopForm, today_in
from bays.selectors.equipment import UnitDue, dues_of, units
from bays.selectors.floor import plan_of
from bays.selectors.surveys import SurveyDue, surveys_due
from bays.services.equipment import return_to_service, take_out_of_service
from bays.services.upkeep import record_upkeep
from bays.upkeep import DueState
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal

RANK = list(DueState)
TAGS = {DueState.FIT: "ok", DueState.DUE_SOON: "tape", DueState.OVERDUE: "stop"}
MOST_SHOWN = 20


@dataclass(frozen=True)
class UnitLine:
    """A unit and where it stands: ``worst`` is None where no rule asks for upkeep."""

    unit: EquipmentUnit
    dues: tuple[UnitDue, ...]

    @property
    def out(self) -> bool:
        return self.unit.state == EquipmentUnit.State.OUT_OF_SERVICE

    @property
    def worst(self) -> UnitDue | None:
        return max(self.dues, key=lambda row: RANK.index(row.due.state), default=None)

    @property
    def tag(self) -> str:
        if self.out:
            return "stop"
        return TAGS[self.worst.due.state] if self.worst else ""

    @property
    def word(self) -> str:
        if self.out:
            return "out of service"
        return str(self.worst.due.state) if self.worst else "in service"

    @property
    def next_says(self) -> str:
        """What is due next: the worst rule in words."""
        soonest = min(self.dues, key=_pressing, default=None)
        return soonest.due.says if soonest else "no upkeep asked for"


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def upkeep(request: MemberRequest) -> HttpResponse:
    """What is due, and every unit."""
    lines = _lines(request)
    return render(
        request,
        "bays/upkeep.html",
        {
            "facts": _facts(lines),
            "due": _due(lines),
            "survey_dues": _survey_dues(request),
            "out": [line for line in lines if line.out],
            "groups": [
                (kind, list(group)) for kind, group in groupby(lines, lambda line: line.unit.type)
            ],
            "may_record": may(request.actor, Action.RECORD_UPKEEP),
            "may_set_up": may(request.actor, Action.IMPORT_EXPORT),
        },
    )


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def equipment_unit(request: MemberRequest, unit_id: int) -> HttpResponse:
    """One unit: fit or not, why, and what happened to it."""
    return _unit_page(request, unit_id)


@require_POST
@allowed(Action.RECORD_UPKEEP)
def upkeep_done(request: MemberRequest, unit_id: int) -> HttpResponse:
    """Record upkeep on a unit."""
    unit = _unit(request, unit_id)
    form = UpkeepForm(request.POST, shop=request.membership.shop, unit=unit, prefix="upkeep")

    def act() -> str:
        done = record_upkeep(by=request.actor, unit=unit, **form.cleaned_data)
        return f"{done.rule.name} is recorded: {done.get_result_display()}."

    return _acted(request, unit_id, form, "upkeep_form", act)


@require_POST
@allowed(Action.TAKE_UNIT_OUT)
def unit_out(request: MemberRequest, unit_id: int) -> HttpResponse:
    """Take a unit out of service; steps planned with it are planned again soon after."""
    unit = _unit(request, unit_id)
    form = OutForm(request.POST, shop=request.membership.shop, prefix="out")

    def act() -> str:
        take_out_of_service(by=request.actor, unit=unit, **form.cleaned_data)
        return f"{unit.name} is out of service. Work planned with it will be planned again."

    return _acted(request, unit_id, form, "out_form", act)


@require_POST
@allowed(Action.RECORD_UPKEEP)
def unit_back(request: MemberRequest, unit_id: int) -> HttpResponse:
    """Return a unit to service."""
    unit = _unit(request, unit_id)
    form = BackForm(request.POST, shop=request.membership.shop, prefix="back")

    def act() -> str:
        return_to_service(by=request.actor, unit=unit, **form.cleaned_data)
        return f"{unit.name} is in service again."

    return _acted(request, unit_id, form, "back_form", act)


def _acted(
    request: MemberRequest, unit_id: int, form: ShopForm, name: str, act: Callable[[], str]
) -> HttpResponse:
    """Do it and go back to the unit, or show what was refused where it was asked."""
    if not form.is_valid():
        return _unit_page(request, unit_id, status=422, **{name: form})
    try:
        says = act()
    except Refusal as refusal:
        form.take(refusal.errors)
        extra = {name: form, "refusal": None if refusal.errors else refusal}
        return _unit_page(request, unit_id, status=refusal.status, **extra)
    messages.success(request, says)
    return HttpResponseRedirect(reverse("equipment-unit", args=[unit_id]))


def _unit_page(
    request: MemberRequest, unit_id: int, *, status: int = 200, **extra: Any
) -> HttpResponse:
    shop = request.membership.shop
    unit = _unit(request, unit_id)
    line = UnitLine(unit, tuple(dues_of(unit, today_in(shop))))
    first = line.worst.rule.pk if line.worst else None
    version = {"version": unit.version}
    context = {
        "line": line,
        "unit": unit,
        "pairs": _pairs(unit),
        "dues": [(row, TAGS[row.due.state]) for row in line.dues],
        "upkeep_form": UpkeepForm(
            shop=shop, unit=unit, prefix="upkeep", initial={"rule": first, "result": "fit"}
        ),
        "out_form": OutForm(shop=shop, prefix="out", initial=version),
        "back_form": BackForm(shop=shop, prefix="back", initial=version),
        "done": unit.upkeep_done.select_related("rule").order_by("-done_at", "-id")[:MOST_SHOWN],
        "downtimes": unit.downtimes.order_by("-starts_at", "-id")[:MOST_SHOWN],
        "uses": unit.uses.order_by("-used_at", "-id")[:MOST_SHOWN],
        "may_record": may(request.actor, Action.RECORD_UPKEEP),
        "may_take_out": may(request.actor, Action.TAKE_UNIT_OUT),
        **extra,
    }
    return render(request, "bays/equipment_unit.html", context, status=status)


def _unit(request: MemberRequest, unit_id: int) -> EquipmentUnit:
    unit = units(request.actor.shop_id).filter(pk=unit_id).first()
    if unit is None:
        raise NotFound("no_unit", "There is no such unit in this shop.")
    return unit


def _lines(request: MemberRequest) -> list[UnitLine]:
    today = today_in(request.membership.shop)
    return [UnitLine(unit, tuple(dues_of(unit, today))) for unit in units(request.actor.shop_id)]


def _facts(lines: Sequence[UnitLine]) -> list[dict[str, Any]]:
    used = [line for line in lines if not line.out]
    found = {
        state: [line for line in used if line.worst and line.worst.due.state is state]
        for state in DueState
    }
    overdue, soon = found[DueState.OVERDUE], found[DueState.DUE_SOON]
    fit = len(used) - len(overdue) - len(soon)
    out = len(lines) - len(used)
    return [
        {"number": len(overdue), "word": "overdue", "kind": overdue and "stop"},
        {"number": len(soon), "word": "due soon", "kind": soon and "tape"},
        {"number": fit, "word": "fit for use"},
        {"number": out, "word": "out of service", "kind": out and "stop"},
    ]


def _due(lines: Sequence[UnitLine]) -> list[tuple[UnitDue, str]]:
    """Whatever is overdue or due soon, the most pressing first."""
    found = [row for line in lines for row in line.dues if row.due.state is not DueState.FIT]
    found.sort(key=_pressing)
    return [(row, TAGS[row.due.state]) for row in found]


def _survey_dues(request: MemberRequest) -> list[tuple[SurveyDue, str]]:
    """Surveys of the floor or its light that are overdue or due soon."""
    shop = request.membership.shop
    return [
        (row, TAGS[row.state]) for row in surveys_due(shop.pk, plan_of(shop.pk), today_in(shop))
    ]


def _pressing(row: UnitDue) -> tuple[int, date, str]:
    return (-RANK.index(row.due.state), row.due.due_on or date.max, row.unit.name)


def _pairs(unit: EquipmentUnit) -> list[tuple[str, Any]]:
    pairs: list[tuple[str, Any]] = [
        ("Type", unit.type.name),
        ("Serial number", unit.serial or "none written down"),
        ("In use since", f"{unit.commissioned_on:%Y-%m-%d}"),
        ("Uses counted", unit.use_count),  # type: ignore[attr-defined]
    ]
    if unit.accuracy_class:
        pairs.append(("Accuracy class", unit.accuracy_class))
    if unit.resolution_mm:
        pairs.append(("Reads to", f"{unit.resolution_mm:g} mm"))
    return pairs
