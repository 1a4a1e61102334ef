"""Recording how level the floor is, and how well it is lit: editions that are never changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date
from typing import Any, Final

import numpy as np
import shapely
from django.db import transaction
from django.utils import timezone

from bays.floor.coverage import THINNEST_SURVEY_MM, spread_mm
from bays.models import FloorSurvey, LightSurvey
from bays.selectors.floor import current_floor
from bays.services.checks import locked_shop, refuse_faults, text_faults
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import FieldError, NotFound
from shopcal.history.record import record_event

Points = Sequence[Sequence[float]]

# A tape or laser may read a wall's face a little outside the drawing.
OUTSIDE_MM: Final = 100
# The brightest that a light meter of a shop shows; common practice, no source.
MOST_LUX: Final = 200_000
MOST_POINTS: Final = 20_000


def record_survey(
    *,
    by: Actor,
    points: Points,
    surveyed_on: date,
    instrument: str,
    reading_uncertainty_mm: float = 0.5,
    due_on: date | None = None,
    notes: str = "",
) -> FloorSurvey:
    """Record floor heights, ``[x_mm, y_mm, height_mm]`` each in the floor plan's frame.

    ``reading_uncertainty_mm`` is the standard uncertainty of one height; ``due_on`` the last day
    the readings are good.

    Raises:
        NotAllowed: not a manager.
        Invalid: fewer than three places or all on one line, one that is no point or not on the
            floor, no instrument, a day that has not come, due before it was read.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    errors = survey_faults(points, surveyed_on, instrument, reading_uncertainty_mm, due_on)
    errors += text_faults("notes", notes, 2000, needed=False)
    if not errors:
        errors = off_the_floor(by.shop_id, points)
    refuse_faults("survey_invalid", "The survey was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        survey = FloorSurvey.objects.create(
            shop_id=by.shop_id,
            number=_next_number(FloorSurvey, by.shop_id),
            surveyed_on=surveyed_on,
            due_on=due_on,
            instrument=instrument.strip(),
            reading_uncertainty_mm=reading_uncertainty_mm,
            points=[list(point) for point in points],
            notes=notes.strip(),
            recorded_by=by.name,
        )
        _told(by, "floor.surveyed", f"survey:{survey.pk}", survey)
    return survey


def record_light_survey(
    *,
    by: Actor,
    points: Points,
    surveyed_on: date,
    instrument: str,
    reading_uncertainty_percent: float = 5.0,
    due_on: date | None = None,
    conditions: str = "",
    notes: str = "",
) -> LightSurvey:
    """Record illuminances, ``[x_mm, y_mm, lux]`` each in the floor plan's frame.

    ``reading_uncertainty_percent`` is the standard uncertainty of a reading, of its value.

    Raises:
        NotAllowed: not a manager.
        Invalid: as ``record_survey``, or a reading below 0 or beyond what meters show.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    errors = light_faults(points, surveyed_on, instrument, reading_uncertainty_percent, due_on)
    errors += text_faults("conditions", conditions, 200, needed=False)
    errors += text_faults("notes", notes, 2000, needed=False)
    if not errors:
        errors = off_the_floor(by.shop_id, points)
    refuse_faults("light_survey_invalid", "The light survey was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        survey = LightSurvey.objects.create(
            shop_id=by.shop_id,
            number=_next_number(LightSurvey, by.shop_id),
            surveyed_on=surveyed_on,
            due_on=due_on,
            instrument=instrument.strip(),
            reading_uncertainty_percent=reading_uncertainty_percent,
            points=[list(point) for point in points],
            conditions=conditions.strip(),
            notes=notes.strip(),
            recorded_by=by.name,
        )
        _told(by, "floor.light_surveyed", f"light_survey:{survey.pk}", survey)
    return survey


def survey_faults(
    points: Points,
    surveyed_on: date,
    instrument: str,
    uncertainty_mm: float,
    due_on: date | None = None,
) -> list[FieldError]:
    """What is wrong with a survey of heights by itself, whatever the floor plan."""
    errors = _shared_faults(surveyed_on, instrument, due_on)
    if not math.isfinite(uncertainty_mm) or uncertainty_mm <= 0:
        errors.append(FieldError("reading_uncertainty_mm", "is not above 0", "such as 0.5"))
    return errors + _point_faults(points, "[x_mm, y_mm, height_mm]", "a plane")


def light_faults(
    points: Points,
    surveyed_on: date,
    instrument: str,
    uncertainty_percent: float,
    due_on: date | None = None,
) -> list[FieldError]:
    """What is wrong with a survey of the light by itself, whatever the floor plan."""
    errors = _shared_faults(surveyed_on, instrument, due_on)
    if not math.isfinite(uncertainty_percent) or not 0 < uncertainty_percent < 100:
        says = "is not between 0 and 100"
        errors.append(FieldError("reading_uncertainty_percent", says, "such as 5"))
    errors += _point_faults(points, "[x_mm, y_mm, lux]", "the light between readings")
    if errors:
        return errors
    return [
        FieldError(f"points[{index}]", f"{lux:g} lux cannot be", f"from 0 to {MOST_LUX} lux")
        for index, (_, _, lux) in enumerate(points)
        if not 0 <= lux <= MOST_LUX
    ]


def off_the_floor(shop_id: int, points: Points) -> list[FieldError]:
    """Points that lie outside the floor plan in force; none where there is no plan."""
    try:
        outline = current_floor(shop_id).plan.outline
    except NotFound:
        return []
    places = np.array([point[:2] for point in points], dtype=float)
    outside = ~shapely.dwithin(outline, shapely.points(places), OUTSIDE_MM)
    return [
        FieldError(
            f"points[{index}]",
            f"[{places[index, 0]:g}, {places[index, 1]:g}] is outside the floor plan",
        )
        for index in np.flatnonzero(outside)
    ]


def _shared_faults(surveyed_on: date, instrument: str, due_on: date | None) -> list[FieldError]:
    errors = text_faults("instrument", instrument, 120)
    # A day ahead is allowed: the shop may be east of the clock that the service runs by.
    if (surveyed_on - timezone.now().date()).days > 1:
        errors.append(FieldError("surveyed_on", "has not come yet", "the day of the readings"))
    if due_on is not None and due_on < surveyed_on:
        errors.append(FieldError("due_on", "is before the day of the readings", "a later day"))
    return errors


def _point_faults(points: Points, right: str, wanted: str) -> list[FieldError]:
    errors = [
        FieldError(f"points[{index}]", "is no point", right)
        for index, point in enumerate(points)
        if not _is_point(point)
    ]
    if errors:
        return errors
    everywhere = "readings all over the floor"
    if len(points) > MOST_POINTS:
        return [FieldError("points", f"are {len(points)}, too many", f"at most {MOST_POINTS}")]
    places = np.unique(np.array(points, dtype=float).reshape(-1, 3)[:, :2], axis=0)
    if len(places) < 3:
        says = f"are at {len(places)} places, and {wanted} needs three"
        return [FieldError("points", says, everywhere)]
    if spread_mm(places) < THINNEST_SURVEY_MM:
        says = f"all lie on one line: {wanted} needs readings beside it"
        return [FieldError("points", says, everywhere)]
    return []


def _is_point(point: Sequence[float]) -> bool:
    return len(point) == 3 and all(
        isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in point
    )


def _next_number(model: type[FloorSurvey] | type[LightSurvey], shop_id: int) -> int:
    """Called with the shop locked, so that no two surveys get one number."""
    rows: Any = model.objects
    last = rows.for_shop(shop_id).order_by("-number").values_list("number", flat=True).first()
    return int(last or 0) + 1


def _told(by: Actor, kind: str, subject: str, survey: FloorSurvey | LightSurvey) -> None:
    record_event(
        by=by,
        kind=kind,
        subject=subject,
        after={
            "number": survey.number,
            "surveyed_on": survey.surveyed_on.isoformat(),
            "due_on": survey.due_on.isoformat() if survey.due_on else None,
            "instrument": survey.instrument,
            "points": len(survey.points),
        },
    )
