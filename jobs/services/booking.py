"""Books a visit: the vehicle, its steps and calibrations, the holds and the promise, or nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from bays.planner import Row
from bays.selectors.holds import any_taken
from bays.services.answers import answer_key
from bays.services.warming import owe_warming
from jobs.models import Calibration, Step, Vehicle, Visit
from jobs.planning.problem import ShopPlan, load_shop_plan, warm_shop_plan
from jobs.planning.request import (
    NEW,
    BookingCase,
    BookingRequest,
    new_operation_id,
    planner_vehicle,
    resolve_request,
)
from jobs.selectors.visits import next_ro_number
from jobs.services.others_moved import (
    moved_rows,
    offer_gone,
    refuse_if_later,
    refuse_if_moved_since,
    tell_moved,
)
from jobs.services.plans import plan_with, refuse_unless_verified, store_rows
from jobs.services.quotes import open_offer, promise_after, row_in
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid
from shopcal.history.record import record_event
from shopcal.retrying import retried


def book_visit(*, by: Actor, request: BookingRequest, offer_token: str) -> Visit:
    """Take an offer: its holds are taken and the promise is stored, all or nothing.

    Raises:
        NotAllowed: this person may not book.
        Invalid: the request lacks something; every fault with its field.
        Conflict: ``offer_expired``, ``offer_gone`` (somebody took what it needs; ask again) or
            ``ro_number_taken``.
    """
    require(by, Action.BOOK_VISIT)
    case = complete_case(by.shop_id, request)
    kept = open_offer(offer_token)
    if kept["shop"] != by.shop_id:
        raise Conflict("offer_expired", "This offer was made for another shop.")
    moved = kept.get("moved", [])
    if moved:
        require(by, Action.REPLAN)
    elif any_taken(by.shop_id, _people_and_units(kept["rows"])):
        raise offer_gone()  # said at once, without planning the whole shop to find it out
    warm_shop_plan(by.shop_id)
    try:
        return retried(lambda: _book(by, case, kept["rows"], moved))
    except Conflict as refused:
        if refused.code not in ("double_booking", "plan_not_verified"):
            raise
        raise offer_gone() from refused


def complete_case(shop_id: int, request: BookingRequest) -> BookingCase:
    """The request resolved, with everything a booking needs.

    Raises:
        Invalid: something is missing or wrong; every fault with its field.
    """
    case = resolve_request(shop_id, request)
    faults = [*case.faults, *_missing(request, case)]
    if faults:
        raise Invalid("booking_incomplete", "This booking is not complete.", errors=faults)
    return case


def _people_and_units(
    kept_rows: Sequence[list[Any]],
) -> Iterator[tuple[str, str, datetime, datetime]]:
    """What the rows of an offer hold throughout: kind, code, from and until."""
    for _, starts, ends, technician, _, units, _, _ in kept_rows:
        for key in (technician, *units):
            kind, code = key.split(":", 1)
            yield kind, code, datetime.fromisoformat(starts), datetime.fromisoformat(ends)


@transaction.atomic
def _book(
    by: Actor,
    case: BookingCase,
    kept_rows: Sequence[list[object]],
    kept_moved: Sequence[list[Any]],
) -> Visit:
    refuse_if_moved_since(by, kept_moved)
    now = timezone.now()
    shop = Shop.objects.get(pk=by.shop_id)
    shop_plan = load_shop_plan(shop, now)
    vehicle, places = planner_vehicle(case, shop_plan, due=shop_plan.problem.horizon)
    asked = shop_plan.with_vehicle(vehicle, places)
    rows = _rows(asked, case, kept_rows)
    visit, asked = new_visit(by=by, case=case, asked=asked, rows=rows)
    moved = moved_rows(asked, kept_moved)
    plan = plan_with(asked, (*rows, *moved))
    refuse_unless_verified(asked, plan, only={NEW, *(row.vehicle for row in moved)})
    refuse_if_later(asked, plan, moved)
    store_rows(by=by, shop_plan=asked, rows=(*rows, *moved))
    tell_moved(by, asked, moved, case)
    tell_booked(by, visit, case)
    return visit


def new_visit(
    *, by: Actor, case: BookingCase, asked: ShopPlan, rows: Sequence[Row]
) -> tuple[Visit, ShopPlan]:
    """The visit with its steps, and the plan that knows them by the new vehicle's operations."""
    promised_at = promise_after(asked.clock.moment(max(row.end for row in rows)))
    visit = _visit_row(by, case, asked, rows, promised_at)
    if case.vehicle.kind is None or case.request.sizes is not None:  # not in the library as it is
        facts = (case.vehicle.shape, case.vehicle.turning_circle_mm)
        owe_warming(shop_id=by.shop_id, cause=answer_key("sizes", 1, *facts))
    steps = {new_operation_id(step.order): step for step in _new_steps(visit, case)}
    return visit, replace(asked, steps={**asked.steps, **steps})


def tell_booked(by: Actor, visit: Visit, case: BookingCase) -> None:
    record_event(
        by=by,
        kind="visit.booked",
        subject=f"visit:{visit.pk}",
        visit_id=visit.pk,
        after={
            "ro_number": visit.ro_number,
            "vehicle": str(visit.vehicle),
            "promised_at": visit.promised_at.isoformat(),
            "work": list(case.request.work),
            "calibrations": [need.content.code for need in case.needed],
        },
    )


def _missing(request: BookingRequest, case: BookingCase) -> list[FieldError]:
    faults = []
    if not request.customer_name.strip():
        faults.append(FieldError("customer_name", "nobody is named", "enter the customer's name"))
    if case.vehicle.vin is None and not any(fault.path == "vin" for fault in case.faults):
        faults.append(FieldError("vin", "there is no VIN", "type or scan its 17 characters"))
    return faults


def _rows(asked: ShopPlan, case: BookingCase, kept_rows: Sequence[list[object]]) -> tuple[Row, ...]:
    rows = tuple(row_in(asked, list(kept), NEW) for kept in kept_rows)
    wanted = {new_operation_id(step.order) for step in case.steps}
    known = set(asked.problem.placements)
    if {row.operation for row in rows} != wanted or any(r.placement not in known for r in rows):
        raise Conflict(
            "offer_gone",
            "This offer is for other work, another vehicle or an older floor plan.",
            detail="Nothing was booked. Ask for new offers and choose again.",
        )
    return rows


def _visit_row(
    by: Actor, case: BookingCase, asked: ShopPlan, rows: Sequence[Row], promised_at: datetime
) -> Visit:
    request = case.request
    starts_at = asked.clock.moment(min(row.start for row in rows))
    visit = Visit(
        shop_id=by.shop_id,
        ro_number=request.ro_number.strip() or next_ro_number(by.shop_id),
        vehicle=_vehicle_row(by.shop_id, case),
        customer_name=request.customer_name.strip(),
        customer_phone=request.customer_phone.strip(),
        customer_email=request.customer_email.strip(),
        work_done=list(request.work),
        systems_to_confirm=list(case.ask),
        vin_confirmed=bool(
            case.vehicle.vin and (case.vehicle.vin.check_digit_right or request.vin_confirmed)
        ),
        notes=request.notes,
        weight=request.weight,
        arrives_at=request.arrives_at or min(starts_at, timezone.now()),
        wanted_by=request.wanted_by,
        promised_at=promised_at,
        booked_at=timezone.now(),
        booked_by=by.name,
    )
    try:
        with transaction.atomic():
            visit.save()
    except IntegrityError as error:
        raise Conflict(
            "ro_number_taken",
            f"There is already a visit with repair order {visit.ro_number}.",
            detail="Give this one another number, or open that visit.",
        ) from error
    return visit


def _vehicle_row(shop_id: int, case: BookingCase) -> Vehicle:
    """The vehicle by its VIN, new or with what was said today."""
    found, shape = case.vehicle, case.vehicle.shape
    if found.vin is None or shape is None:
        raise ValueError("a booking needs a VIN and sizes")
    track = shape.tyre_track_outer_mm
    vehicle, _ = Vehicle.objects.update_or_create(
        shop_id=shop_id,
        vin=found.vin.text,
        defaults={
            "model": found.kind,
            "label": found.label or found.vin.text,
            "model_year": found.vin.model_year,
            "plate": case.request.plate,
            "systems": sorted(found.systems),
            "width_mm": round(shape.width_mm),
            "wheelbase_mm": round(shape.wheelbase_mm),
            "front_overhang_mm": round(shape.front_overhang_mm),
            "rear_overhang_mm": round(shape.rear_overhang_mm),
            "tyre_track_mm": round(track) if track else None,
            "turning_circle_mm": found.turning_circle_mm,
        },
    )
    return vehicle


def _new_steps(visit: Visit, case: BookingCase) -> list[Step]:
    steps = []
    for draft in case.steps:
        step = Step.objects.create(
            shop_id=visit.shop_id,
            visit=visit,
            order=draft.order,
            kind=draft.kind,
            label=draft.label,
            minutes=draft.minutes,
            lag_minutes=draft.lag_minutes,
            second_person_minutes=draft.second_person_minutes,
            skill_code=draft.skill_code,
            equipment_codes=list(draft.equipment_codes),
            set_up=draft.set_up,
            shared_minutes=draft.shared_minutes,
            minutes_say=draft.minutes_say,
        )
        if draft.needed is not None:
            Calibration.objects.create(
                shop_id=visit.shop_id,
                visit=visit,
                step=step,
                edition=draft.needed.edition,
                system=draft.needed.content.system,
                reasons=list(draft.needed.reasons),
            )
        steps.append(step)
    return steps
