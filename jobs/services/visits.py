"""Moves of a visit from check-in to release, each guarded by the table of moves."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.utils import timezone

from jobs.lifecycle import MoveRefused, VisitAct, VisitState, visit_move
from jobs.models import Calibration, Visit
from jobs.selectors.facts import visit_facts
from jobs.services.rows import (
    locked_visit,
    move_conflict,
    needed_text,
    one_transaction,
    require_one_of,
    told_visit,
)
from jobs.services.step_changes import call_off, cancel_step, cancel_steps, pause_steps
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid

REASON_LENGTH = 200
CHANGEABLE = {
    "customer_name": 120,
    "customer_phone": 40,
    "customer_email": 254,
    "notes": 4000,
}


@one_transaction
def check_in(
    *, by: Actor, visit: Visit, vin_from_plate: str = "", version: int | None = None
) -> Visit:
    """The vehicle is here. ``vin_from_plate`` is what the vehicle itself says, where it is asked.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: the VIN is not the one booked.
        Conflict: ``move_refused`` with every unmet guard.
    """
    require(by, Action.CHECK_IN)
    found = locked_visit(by, visit, version)
    if vin_from_plate.strip():
        _refuse_other_vin(found, vin_from_plate)
        found.vin_confirmed = True
    before = _moved(found, VisitAct.CHECK_IN)
    found.checked_in_at = timezone.now()
    return told_visit(
        by, found, "visit.checked_in", before, state=found.state, vin_confirmed=found.vin_confirmed
    )


@one_transaction
def confirm_systems(
    *,
    by: Actor,
    visit: Visit,
    has: Collection[str] = (),
    has_not: Collection[str] = (),
    version: int | None = None,
) -> Visit:
    """Say of systems in doubt whether the vehicle has them.

    A calibration of a system it has not is cancelled, unless it was begun.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: a system nobody asked about, or both answers.
    """
    require(by, Action.CHECK_IN)
    found = locked_visit(by, visit, version)
    _refuse_unasked(found, has, has_not)
    before = {"systems_to_confirm": list(found.systems_to_confirm)}
    answered = {*has, *has_not}
    found.systems_to_confirm = [s for s in found.systems_to_confirm if s not in answered]
    vehicle = found.vehicle
    vehicle.systems = sorted({*vehicle.systems, *has} - set(has_not))
    vehicle.version += 1
    vehicle.save(update_fields=["systems", "version"])
    _cancel_absent(by, found, has_not)
    return told_visit(
        by,
        found,
        "visit.systems_confirmed",
        before,
        has=sorted(has),
        has_not=sorted(has_not),
        systems_to_confirm=list(found.systems_to_confirm),
    )


@one_transaction
def change_details(*, by: Actor, visit: Visit, version: int | None = None, **details: str) -> Visit:
    """Change the customer's name, phone, mail address, or the notes.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: a detail that cannot be; every fault with its field.
    """
    require(by, Action.CHANGE_VISIT)
    found = locked_visit(by, visit, version)
    changed = {name: text.strip() for name, text in details.items()}
    faults = _detail_faults(changed)
    if faults:
        raise Invalid("visit_details", "The visit was not changed.", errors=faults)
    before = {name: getattr(found, name) for name in changed}
    for name, text in changed.items():
        setattr(found, name, text)
    return told_visit(by, found, "visit.changed", before, **changed)


@one_transaction
def hold(*, by: Actor, visit: Visit, reason: str, version: int | None = None) -> Visit:
    """Stop work for now. Steps being done lose their floor, people and equipment.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no reason. Conflict: ``move_refused``.
    """
    require_one_of(by, Action.CHANGE_VISIT, Action.RUN_CALIBRATION)
    found = locked_visit(by, visit, version)
    found.hold_reason = needed_text("reason", reason, REASON_LENGTH, "write why the visit waits")
    before = _moved(found, VisitAct.HOLD, found.hold_reason)
    pause_steps(by=by, visit=found, now=timezone.now())
    return told_visit(by, found, "visit.held", before, state=found.state, reason=found.hold_reason)


@one_transaction
def resume(*, by: Actor, visit: Visit, version: int | None = None) -> Visit:
    """Go on with a visit on hold; its steps are started again as they are taken up.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused``.
    """
    require_one_of(by, Action.CHANGE_VISIT, Action.RUN_CALIBRATION)
    found = locked_visit(by, visit, version)
    before = _moved(found, VisitAct.RESUME)
    before["reason"] = found.hold_reason
    found.hold_reason = ""
    return told_visit(by, found, "visit.resumed", before, state=found.state)


@one_transaction
def mark_ready(*, by: Actor, visit: Visit, version: int | None = None) -> Visit:
    """The work is over; the vehicle may be handed over once the record is issued.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused``.
    """
    require(by, Action.SIGN_OFF)
    return ready(by, locked_visit(by, visit, version), "visit.ready")


def ready(by: Actor, found: Visit, kind: str, **more: Any) -> Visit:
    """Move a locked visit to ready. Call it inside the service's transaction."""
    before = _moved(found, VisitAct.MARK_READY)
    found.ready_at = timezone.now()
    cancel_steps(by=by, visit=found, now=found.ready_at)  # a post-scan that was overridden
    return told_visit(by, found, kind, before, state=found.state, **more)


@one_transaction
def reopen(*, by: Actor, visit: Visit, reason: str, version: int | None = None) -> Visit:
    """Take a ready visit back into work; it must be signed off and recorded anew.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no reason. Conflict: ``move_refused``.
    """
    require_one_of(by, Action.CHANGE_VISIT, Action.SIGN_OFF)
    found = locked_visit(by, visit, version)
    why = needed_text("reason", reason, REASON_LENGTH, "write why it goes back into work")
    before = _moved(found, VisitAct.REOPEN, why)
    found.ready_at = found.signed_off_at = None
    found.signed_off_by = ""
    return told_visit(by, found, "visit.reopened", before, state=found.state, reason=why)


@one_transaction
def release(*, by: Actor, visit: Visit, version: int | None = None) -> Visit:
    """Hand the vehicle over.

    Raises:
        NotAllowed, NotFound, Stale. Conflict: ``move_refused``, among others while no record was
            issued since the visit was made ready.
    """
    require(by, Action.RELEASE_VISIT)
    found = locked_visit(by, visit, version)
    before = _moved(found, VisitAct.RELEASE)
    found.released_at = timezone.now()
    return told_visit(by, found, "visit.released", before, state=found.state)


@one_transaction
def cancel(*, by: Actor, visit: Visit, reason: str, version: int | None = None) -> Visit:
    """Call a visit off: its steps and calibrations are cancelled, everything it holds is free.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: no reason.
        Conflict: ``move_refused``, while a calibration runs.
    """
    require(by, Action.CANCEL_VISIT)
    found = locked_visit(by, visit, version)
    why = needed_text("reason", reason, REASON_LENGTH, "write why the visit is called off")
    before = _moved(found, VisitAct.CANCEL, why)
    now = timezone.now()
    cancel_steps(by=by, visit=found, now=now)
    for row in _own(found).filter(state__in=("planned", "preparing", "set_out")):
        call_off(by=by, row=row, why=why, now=now)
    found.cancelled_reason = why
    return told_visit(by, found, "visit.cancelled", before, state=found.state, reason=why)


def begin_work(*, by: Actor, visit: Visit) -> None:
    """Move a visit that is checked in into work; do nothing where it is in work.

    ``visit`` is locked. Call it before the first thing is done to the vehicle.

    Raises:
        Conflict: ``move_refused`` with what must be known first, or ``not_in_work``.
    """
    if visit.state == VisitState.IN_WORK:
        return
    if visit.state != VisitState.CHECKED_IN:
        state = visit.state.replace("_", " ")
        right = {
            VisitState.BOOKED: "Check the vehicle in first.",
            VisitState.ON_HOLD: "Resume the visit first.",
            VisitState.READY: "Reopen the visit first, with the reason.",
        }.get(VisitState(visit.state), "Book a new visit.")
        raise Conflict("not_in_work", f"The visit is {state}.", detail=right)
    before = _moved(visit, VisitAct.START_WORK)
    told_visit(by, visit, "visit.work_started", before, state=visit.state)


def _moved(visit: Visit, act: VisitAct, reason: str = "") -> dict[str, Any]:
    """Change the state by the table; returns what it was."""
    before = {"state": visit.state}
    try:
        visit.state = visit_move(VisitState(visit.state), act, visit_facts(visit, reason=reason))
    except MoveRefused as refused:
        raise move_conflict(refused) from refused
    return before


def _refuse_other_vin(visit: Visit, typed: str) -> None:
    vin = "".join(typed.split()).upper()
    if vin != visit.vehicle.vin:
        says = f"{vin} is not the VIN that was booked, {visit.vehicle.vin}"
        right = "read it again; if it is another vehicle, book that one"
        raise Invalid(
            "other_vehicle",
            "This is not the vehicle that was booked.",
            errors=[FieldError("vin_from_plate", says, right)],
        )


def _refuse_unasked(visit: Visit, has: Collection[str], has_not: Collection[str]) -> None:
    asked = set(visit.systems_to_confirm)
    right = f"one of {', '.join(sorted(asked))}" if asked else "nothing: no system is in doubt"
    faults = [
        FieldError(path, f"“{system}” was not asked about", right)
        for path, systems in (("has", has), ("has_not", has_not))
        for system in sorted(set(systems) - asked)
    ]
    faults += [
        FieldError("has_not", f"“{system}” is under both", "one answer")
        for system in sorted(set(has) & set(has_not))
    ]
    if faults:
        raise Invalid("systems", "These answers cannot be taken.", errors=faults)


def _cancel_absent(by: Actor, visit: Visit, has_not: Collection[str]) -> None:
    now = timezone.now()
    why = "the vehicle does not have this system"
    for row in _own(visit).filter(system__in=list(has_not), state="planned"):
        cancel_step(by=by, step=row.step, now=now)
        call_off(by=by, row=row, why=why, now=now)


def _own(visit: Visit) -> Any:
    rows = Calibration.objects.for_shop(visit.shop_id).filter(visit=visit)
    return rows.select_for_update(of=("self",)).select_related("step").order_by("step__order")


def _detail_faults(details: dict[str, str]) -> list[FieldError]:
    faults = []
    for name, text in details.items():
        if name not in CHANGEABLE:
            faults.append(FieldError(name, "cannot be changed here", ", ".join(CHANGEABLE)))
        elif len(text) > CHANGEABLE[name]:
            faults.append(FieldError(name, "is too long", f"at most {CHANGEABLE[name]} characters"))
    if "customer_name" in details and not details["customer_name"]:
        faults.append(FieldError("customer_name", "is empty", "the customer's name"))
    if details.get("customer_email"):
        try:
            validate_email(details["customer_email"])
        except ValidationError:
            right = "like name@example.com, or nothing"
            faults.append(FieldError("customer_email", "is no mail address", right))
    return faults
