"""Is the floor level and well lit? Surveys, what each bay is told by them, and adding one."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST, require_safe

from bays import floor
from bays.floor.words import MM_PER_INCH, Units
from bays.models import FloorSurvey, LightSurvey
from bays.pages.moments import today_in
from bays.pages.survey_forms import HeightsForm, LightForm, point_index
from bays.pages.survey_picture import refused_picture, survey_picture
from bays.selectors.floor import plan_of
from bays.selectors.surveys import (
    Surveys,
    bay_floor,
    level_there,
    survey_name,
    survey_state,
)
from bays.services.surveys import record_light_survey, record_survey
from bays.upkeep import DueState
from shopcal.accounts.models import Shop
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal

TAGS = {DueState.FIT: "ok", DueState.DUE_SOON: "tape", DueState.OVERDUE: "stop"}
KINDS = {"floor": FloorSurvey, "light": LightSurvey}
FORMS: dict[str, type[HeightsForm | LightForm]] = {"floor": HeightsForm, "light": LightForm}
# A floor settles and lamps fade: a year, until the shop knows better (common practice, no source).
USUAL_DAYS = 365


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def surveys(request: MemberRequest) -> HttpResponse:
    """Every survey, its day, and what the bays are told."""
    shop, today = request.membership.shop, today_in(request.membership.shop)
    plan = plan_of(shop.pk)
    shown = _most_relied_on(Surveys(shop.pk, today), plan)
    groups = [
        ("Floor", "floor", _lines(FloorSurvey, shop, today)),
        ("Light", "light", _lines(LightSurvey, shop, today)),
    ]
    context = {
        "groups": groups,
        "none": not any(lines for _, _, lines in groups),
        "overdue": [line for _, _, lines in groups for line in lines if line["tag"] == "stop"],
        "plan": plan,
        "picture": survey_picture(plan, shown, shop.units) if plan and shown else "",
        "shown": shown,
        "may_add": may(request.actor, Action.EDIT_FLOOR_PLAN),
        "may_set_up": may(request.actor, Action.IMPORT_EXPORT),
    }
    return render(request, "bays/surveys.html", context)


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def survey_detail(request: MemberRequest, kind: str, survey_id: int) -> HttpResponse:
    """One survey: where it was read, what each bay is told by it alone."""
    shop = request.membership.shop
    survey = _survey(shop.pk, kind, survey_id)
    plan = plan_of(shop.pk)
    line = _line(survey, shop, today_in(shop))
    context = {
        "line": line,
        "survey": survey,
        "pairs": _pairs(survey, shop, line),
        "picture": survey_picture(plan, survey, shop.units) if plan else "",
        "bays": _told_bays(plan, survey, shop) if plan else [],
        "rows": _rows(survey, shop),
        "value_name": _value_name(survey, shop),
        "place_unit": "ft" if shop.units == "us" else "m",
    }
    return render(request, "bays/survey_detail.html", context)


@require_safe
@allowed(Action.EDIT_FLOOR_PLAN)
def survey_new(request: MemberRequest, kind: str) -> HttpResponse:
    """The form: a table of readings, with what, when, how far a reading may be off."""
    shop = request.membership.shop
    return _form_page(request, kind, FORMS[kind](shop=shop, initial=_usual(shop)))


@require_POST
@allowed(Action.EDIT_FLOOR_PLAN)
def survey_add(request: MemberRequest, kind: str) -> HttpResponse:
    """Keep a survey, or say beside each field, and in a picture, why not."""
    shop = request.membership.shop
    form = FORMS[kind](request.POST, request.FILES, shop=shop, initial=_usual(shop))
    if not form.is_valid():
        return _form_page(request, kind, form, status=422)
    record = record_survey if kind == "floor" else record_light_survey
    try:
        survey: Any = record(by=request.actor, **form.facts())
    except Refusal as refusal:
        form.take(refusal.errors)
        picture = _refused(shop, form, refusal)
        extra = {"picture": picture, "refusal": None if refusal.errors else refusal}
        return _form_page(request, kind, form, status=refusal.status, **extra)
    messages.success(request, f"{survey_name(survey)} is kept.")
    return HttpResponseRedirect(reverse("survey", args=[kind, survey.pk]))


def _form_page(
    request: MemberRequest, kind: str, form: Any, *, status: int = 200, **extra: Any
) -> HttpResponse:
    context = {
        "form": form,
        "kind": kind,
        "error_unit": "%" if kind == "light" else _small_unit(request.membership.shop),
        "value_field": form["light_in"] if kind == "light" else form["heights_in"],
        **extra,
    }
    return render(request, "bays/survey_new.html", context, status=status)


def _refused(shop: Shop, form: HeightsForm | LightForm, refusal: Refusal) -> SafeString | str:
    """A picture of what was typed, where the fault lies in the places."""
    plan = plan_of(shop.pk)
    if plan is None or not any(error.path.startswith("points") for error in refusal.errors):
        return ""
    indexes = [point_index(error.path) for error in refusal.errors]
    wrong = [index for index in indexes if index is not None]
    return refused_picture(plan, form.points, wrong, shop.units)


def _usual(shop: Shop) -> dict[str, Any]:
    """What a form begins with: the shop's own units, today, good for a year."""
    us, today = shop.units == "us", today_in(shop)
    return {
        "places_in": "ft" if us else "m",
        "heights_in": "in" if us else "mm",
        "light_in": "fc" if us else "lux",
        "surveyed_on": today,
        "due_on": today + timedelta(days=USUAL_DAYS),
    }


def _most_relied_on(found: Surveys, plan: floor.FloorPlan | None) -> FloorSurvey | None:
    """The survey of heights that speaks for most bays."""
    if plan is None or not found.heights:
        return None
    none = floor.LevelTolerance(None, None)
    speaking = [
        level_there(found, bay_floor(plan, bay), bay.heading_deg, none).survey for bay in plan.bays
    ]
    return max(found.heights, key=speaking.count)


def _units(shop: Shop) -> Units:
    return "us" if shop.units == "us" else "metric"


def _survey(shop_id: int, kind: str, survey_id: int) -> FloorSurvey | LightSurvey:
    rows: Any = KINDS[kind].objects
    found: FloorSurvey | LightSurvey | None = rows.for_shop(shop_id).filter(pk=survey_id).first()
    if found is None:
        raise NotFound("no_survey", "There is no such survey in this shop.")
    return found


def _lines(model: Any, shop: Shop, today: Any) -> list[dict[str, Any]]:
    rows = model.objects.for_shop(shop.pk).order_by("-surveyed_on", "-number")
    return [_line(survey, shop, today) for survey in rows]


def _line(survey: FloorSurvey | LightSurvey, shop: Shop, today: Any) -> dict[str, Any]:
    state, says = survey_state(survey, today)
    heights = isinstance(survey, FloorSurvey)
    return {
        "survey": survey,
        "name": survey_name(survey),
        "url": reverse("survey", args=["floor" if heights else "light", survey.pk]),
        "count": len(survey.points),
        "error": _error_words(survey, shop),
        "word": "in date" if state is DueState.FIT else str(state),
        "tag": TAGS[state] if survey.due_on else "",
        "says": says,
    }


def _error_words(survey: FloorSurvey | LightSurvey, shop: Shop) -> str:
    if isinstance(survey, LightSurvey):
        return f"{survey.reading_uncertainty_percent:g} %"
    if shop.units == "us":
        return f"{survey.reading_uncertainty_mm / MM_PER_INCH:.3f} in"
    return f"{survey.reading_uncertainty_mm:g} mm"


def _small_unit(shop: Shop) -> str:
    return "in" if shop.units == "us" else "mm"


def _value_name(survey: FloorSurvey | LightSurvey, shop: Shop) -> str:
    if isinstance(survey, FloorSurvey):
        return f"height, {_small_unit(shop)}"
    return "footcandles" if shop.units == "us" else "lux"


def _pairs(
    survey: FloorSurvey | LightSurvey, shop: Shop, line: dict[str, Any]
) -> list[tuple[str, Any]]:
    pairs: list[tuple[str, Any]] = [
        ("Read on", date_format(survey.surveyed_on, "j M Y")),
        ("Good until", date_format(survey.due_on, "j M Y") if survey.due_on else "no day set"),
        ("Read with", survey.instrument),
        ("Uncertainty", f"{line['error']}, standard, of one reading"),
        ("Readings", line["count"]),
    ]
    if isinstance(survey, LightSurvey) and survey.conditions:
        pairs.append(("Lamps and daylight", survey.conditions))
    if survey.notes:
        pairs.append(("Notes", survey.notes))
    return [*pairs, ("Entered by", survey.recorded_by)]


def _told_bays(
    plan: floor.FloorPlan, survey: FloorSurvey | LightSurvey, shop: Shop
) -> list[tuple[str, str]]:
    """Each bay, and what this survey alone says of its floor, without a limit."""
    told = []
    for bay in plan.bays:
        area = bay_floor(plan, bay)
        if isinstance(survey, FloorSurvey):
            level = floor.level(
                survey.points,
                area,
                bay.heading_deg,
                floor.LevelTolerance(None, None),
                reading_uncertainty_mm=survey.reading_uncertainty_mm,
            )
            told.append((bay.name, floor.level_figures(level, _units(shop))))
        else:
            light = floor.light(
                survey.points,
                area,
                floor.LightTolerance(None),
                reading_uncertainty_percent=survey.reading_uncertainty_percent,
            )
            told.append((bay.name, floor.light_figures(light, _units(shop))))
    return told


def _rows(survey: FloorSurvey | LightSurvey, shop: Shop) -> list[tuple[str, str, str]]:
    us = shop.units == "us"
    place = 304.8 if us else 1000.0
    if isinstance(survey, FloorSurvey):
        unit, decimals = (25.4, 3) if us else (1.0, 1)
    else:
        unit, decimals = (floor.LUX_PER_FOOTCANDLE, 1) if us else (1.0, 0)
    return [
        (f"{x / place:.2f}", f"{y / place:.2f}", f"{value / unit:.{decimals}f}")
        for x, y, value in survey.points
    ]
