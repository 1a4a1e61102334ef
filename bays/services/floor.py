"""Publishing a floor plan, and recording how level the floor is."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import shapely
from django.db import transaction
from django.utils import timezone

from bays.floor import FloorPlan
from bays.models import FloorPlanEdition, FloorSurvey, Hold, Resource, ResourceKind
from bays.selectors.floor import current_floor
from bays.services.checks import locked_shop, refuse_faults, text_faults
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, NotFound
from shopcal.history.record import record_event

# A tape or laser may read a wall's face a little outside the drawing.
_OUTSIDE_MM = 100


def publish_floor_plan(
    *, by: Actor, content: Mapping[str, Any], name: str | None = None
) -> FloorPlanEdition:
    """Put a drawing in force as the next edition; the zones become what vehicles can hold.

    ``name`` replaces the drawing's own. A drawing equal to the one in force makes no edition.

    Raises:
        NotAllowed: not a manager.
        PlanFaults: every fault of the drawing, with its path.
        Conflict: ``zones_in_use``, a zone that the drawing no longer has is booked.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    drawing = {**content, **({"name": name} if name else {})}
    plan = FloorPlan.from_content(drawing)
    with transaction.atomic():
        locked_shop(by)
        newest = FloorPlanEdition.objects.for_shop(by.shop_id).order_by("-number").first()
        if newest is not None and newest.digest == plan.digest:
            return newest
        edition = FloorPlanEdition.objects.create(
            shop_id=by.shop_id,
            number=newest.number + 1 if newest else 1,
            name=plan.name,
            content=drawing,
            digest=plan.digest,
            published_at=timezone.now(),
            published_by=by.name,
        )
        _match_zones(by.shop_id, plan)
        record_event(
            by=by,
            kind="floor.published",
            subject=f"floor:{edition.pk}",
            before={"number": newest.number, "digest": newest.digest} if newest else None,
            after={"number": edition.number, "name": edition.name, "digest": plan.digest},
        )
    return edition


def _match_zones(shop_id: int, plan: FloorPlan) -> None:
    """Give every zone of the plan its resource; those of no zone any more become inactive."""
    rows = {
        row.code: row for row in Resource.objects.for_shop(shop_id).filter(kind=ResourceKind.ZONE)
    }
    gone = [row for code, row in rows.items() if code not in plan.zones and row.active]
    _refuse_booked(shop_id, gone)
    Resource.objects.filter(pk__in=[row.pk for row in gone]).update(active=False)
    for code, zone in plan.zones.items():
        row = rows.get(code)
        if row is None:
            Resource.objects.create(
                shop_id=shop_id, kind=ResourceKind.ZONE, code=code, name=zone.name
            )
        elif not row.active or row.name != zone.name:
            row.active, row.name = True, zone.name
            row.save(update_fields=["active", "name"])


def _refuse_booked(shop_id: int, gone: Sequence[Resource]) -> None:
    """A booking must not be left standing on floor that no longer has a name."""
    booked = (
        Hold.objects.for_shop(shop_id)
        .filter(resource__in=gone, ends_at__gt=timezone.now())
        .order_by("resource__code")
        .values_list("resource__code", flat=True)
        .distinct()
    )
    codes = list(booked)
    if codes:
        raise Conflict(
            "zones_in_use",
            f"The new floor plan lacks zones that are booked: {', '.join(codes)}.",
            detail="Keep these zones, or move what is booked there first.",
            facts={"zones": codes},
        )


def record_survey(
    *,
    by: Actor,
    points: Sequence[Sequence[float]],
    surveyed_on: date,
    instrument: str,
    reading_uncertainty_mm: float = 0.5,
) -> FloorSurvey:
    """Record floor heights, ``[x_mm, y_mm, height_mm]`` each in the floor plan's frame.

    ``reading_uncertainty_mm`` is the standard uncertainty of one height.

    Raises:
        NotAllowed: not a manager.
        Invalid: fewer than three points, one that is no point or not on the floor, no instrument,
            a day that has not come.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    errors = survey_faults(points, surveyed_on, instrument, reading_uncertainty_mm)
    if not errors:
        errors = _off_the_floor(by.shop_id, points)
    refuse_faults("survey_invalid", "The survey was not saved.", errors)
    with transaction.atomic():
        survey = FloorSurvey.objects.create(
            shop_id=by.shop_id,
            surveyed_on=surveyed_on,
            instrument=instrument.strip(),
            reading_uncertainty_mm=reading_uncertainty_mm,
            points=[list(point) for point in points],
            recorded_by=by.name,
        )
        record_event(
            by=by,
            kind="floor.surveyed",
            subject=f"survey:{survey.pk}",
            after={"surveyed_on": surveyed_on.isoformat(), "points": len(points)},
        )
    return survey


def survey_faults(
    points: Sequence[Sequence[float]], surveyed_on: date, instrument: str, uncertainty_mm: float
) -> list[FieldError]:
    """What is wrong with a survey by itself, whatever the floor plan."""
    errors = text_faults("instrument", instrument, 120)
    # A day ahead is allowed: the shop may be east of the clock that the service runs by.
    if (surveyed_on - timezone.now().date()).days > 1:
        errors.append(FieldError("surveyed_on", "has not come yet", "the day of the readings"))
    if not math.isfinite(uncertainty_mm) or uncertainty_mm <= 0:
        errors.append(FieldError("reading_uncertainty_mm", "is not above 0", "such as 0.5"))
    if len(points) < 3:
        says = f"has {len(points)} points, and a plane needs three"
        errors.append(FieldError("points", says, "readings all over the floor"))
    errors += [
        FieldError(f"points[{index}]", "is no point", "[x_mm, y_mm, height_mm]")
        for index, point in enumerate(points)
        if not _is_point(point)
    ]
    return errors


def _is_point(point: Sequence[float]) -> bool:
    return len(point) == 3 and all(
        isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v) for v in point
    )


def _off_the_floor(shop_id: int, points: Sequence[Sequence[float]]) -> list[FieldError]:
    try:
        outline = current_floor(shop_id).plan.outline
    except NotFound:
        return []
    return [
        FieldError(f"points[{index}]", f"[{x:g}, {y:g}] is outside the floor plan")
        for index, (x, y, _) in enumerate(points)
        if not shapely.dwithin(outline, shapely.Point(x, y), _OUTSIDE_MM)
    ]
