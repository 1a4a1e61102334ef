"""The sections ``floor``, the drawing as it is published, and ``floor_surveys``."""

from __future__ import annotations

from datetime import date
from typing import Any

from bays.floor import FloorPlan, PlanFaults
from bays.models import FloorPlanEdition, FloorSurvey
from bays.services.floor import publish_floor_plan, record_survey, survey_faults
from bays.services.put import Outcome
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor

SurveyRead = tuple[date, str, float, list[list[float]]]


def read(value: Any, reading: Reading) -> dict[str, Any]:
    if not isinstance(value, dict):
        reading.faults.note("floor", "is no group of fields", "name, outline, zones, bays, …")
        return {}
    try:
        FloorPlan.from_content(value)
    except PlanFaults as refused:
        reading.faults.extend("floor", refused.errors)
    return value


def apply(by: Actor, content: dict[str, Any], tally: Tally) -> None:
    before = FloorPlanEdition.objects.for_shop(by.shop_id).order_by("-number").first()
    edition = publish_floor_plan(by=by, content=content)
    if before is None:
        tally.add("floor plans", Outcome.ADDED)
    else:
        same = edition.pk == before.pk
        tally.add("floor plans", Outcome.UNCHANGED if same else Outcome.CHANGED)


def export(shop_id: int) -> dict[str, Any] | None:
    edition = FloorPlanEdition.objects.for_shop(shop_id).order_by("-number").first()
    return dict(edition.content) if edition else None


def read_surveys(value: Any, reading: Reading) -> list[SurveyRead]:
    faults = reading.faults
    found = []
    needed, may = ("surveyed_on", "instrument", "points"), ("reading_uncertainty_mm",)
    for entry in faults.entries(value, "floor_surveys", needed=needed, may=may):
        day = faults.given(entry, "surveyed_on", faults.day)
        instrument = faults.given(entry, "instrument", faults.words)
        uncertainty = faults.number(
            entry.fields.get("reading_uncertainty_mm", 0.5), f"{entry.path}.reading_uncertainty_mm"
        )
        place = f"{entry.path}.points"
        rows = faults.rows(entry.fields.get("points", []), place, at_most=20_000)
        points = [row if isinstance(row, list) else [] for row in rows]
        if day is None or instrument is None or uncertainty is None:
            continue
        faults.extend(entry.path, survey_faults(points, day, instrument, uncertainty))
        found.append((day, instrument, uncertainty, points))
    return found


def apply_surveys(by: Actor, found: list[SurveyRead], tally: Tally) -> None:
    """A survey is what was read on one day: one that is there already is not entered again."""
    for day, instrument, uncertainty, points in found:
        rows = FloorSurvey.objects.for_shop(by.shop_id)
        if any(r.points == points for r in rows.filter(surveyed_on=day, instrument=instrument)):
            tally.add("floor surveys", Outcome.UNCHANGED)
            continue
        record_survey(
            by=by, points=points, surveyed_on=day, instrument=instrument,
            reading_uncertainty_mm=uncertainty,
        )  # fmt: skip
        tally.add("floor surveys", Outcome.ADDED)


def export_surveys(shop_id: int) -> list[dict[str, Any]] | None:
    return [
        {
            "surveyed_on": row.surveyed_on.isoformat(),
            "instrument": row.instrument,
            "reading_uncertainty_mm": row.reading_uncertainty_mm,
            "points": row.points,
        }
        for row in FloorSurvey.objects.for_shop(shop_id).order_by("surveyed_on", "pk")
    ] or None


SECTION = Section("floor", read, apply, export)
SURVEYS = Section("floor_surveys", read_surveys, apply_surveys, export_surveys)
