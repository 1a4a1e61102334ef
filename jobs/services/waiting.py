"""A step that waits for a part or an approval, until it is expected."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from jobs.models import Step
from jobs.planning.causes import Cause
from jobs.planning.problem import HORIZON_DAYS
from jobs.services.plan_changes import PlanChange
from jobs.services.settling import settle
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, Stale
from shopcal.history.record import record_event


def wait_for(
    *, by: Actor, step: Step, waits_for: str, expected_at: datetime, version: int | None = None
) -> PlanChange:
    """Let a step wait for something until it is expected; what was planned sooner moves.

    What it waits for is kept even where no plan is found for it.

    Raises:
        NotAllowed: this person may not change visits.
        Invalid: nothing is named, or it is expected before now or after the days planned ahead.
        Conflict: ``step_not_planned``, ``step_pinned``, or ``no_plan`` with what binds.
    """
    require(by, Action.CHANGE_VISIT)
    errors = []
    if not waits_for.strip():
        errors.append(FieldError("waits_for", "is missing", "the part or the approval"))
    if len(waits_for.strip()) > 120:
        errors.append(FieldError("waits_for", "is longer than 120 characters"))
    if timezone.is_naive(expected_at):
        errors.append(FieldError("expected_at", "has no time zone"))
    elif expected_at <= timezone.now():
        errors.append(FieldError("expected_at", "has passed", "a time to come"))
    elif expected_at > timezone.now() + timedelta(days=HORIZON_DAYS):
        says = f"is more than {HORIZON_DAYS} days away, further than is planned"
        errors.append(FieldError("expected_at", says, "put the visit on hold"))
    if errors:
        raise Invalid("waiting_invalid", "This was not saved.", errors=errors)
    return _changed(by, step, waits_for.strip(), expected_at, version)


def wait_no_more(*, by: Actor, step: Step, version: int | None = None) -> PlanChange:
    """It is there: the step may be done at any time. Its time in the plan stays as it is.

    Raises:
        NotAllowed, Conflict: as ``wait_for``.
    """
    require(by, Action.CHANGE_VISIT)
    return _changed(by, step, "", None, version)


def _changed(
    by: Actor, step: Step, waits_for: str, expected_at: datetime | None, version: int | None
) -> PlanChange:
    with transaction.atomic():
        current = _write(by, step, waits_for, expected_at, version)
    if expected_at is None:
        return PlanChange(f"{current.label} waits no more", (), ())
    why = f"{current.label} of {current.visit} waits for {waits_for}"
    return settle(by=by, why=why, cause=Cause("repair"))


def _write(
    by: Actor, step: Step, waits_for: str, expected_at: datetime | None, version: int | None
) -> Step:
    current = (
        Step.objects.for_shop(by.shop_id)
        .select_for_update(of=("self",))
        .select_related("visit")
        .get(pk=step.pk)
    )
    if version is not None and version != current.version:
        raise Stale("step_changed", f"{current.label} was changed by somebody else.")
    if current.state != Step.State.PLANNED:
        says = f"{current.label} is {current.get_state_display()} already."
        raise Conflict("step_not_planned", says)
    if current.pinned and expected_at and current.starts_at and current.starts_at < expected_at:
        says = f"{current.label} is pinned to a time before that."
        raise Conflict("step_pinned", says, detail="Let it move first.")
    before = {"waits_for": current.waits_for, "not_before": _iso(current.not_before)}
    current.waits_for, current.not_before = waits_for, expected_at
    current.version += 1
    current.save(update_fields=["waits_for", "not_before", "version"])
    record_event(
        by=by,
        kind="step.waits" if waits_for else "step.waits_no_more",
        subject=f"step:{current.pk}",
        visit_id=current.visit_id,
        before=before,
        after={
            "label": current.label, "waits_for": waits_for, "not_before": _iso(expected_at)
        },
    )  # fmt: skip
    return current


def _iso(moment: datetime | None) -> str:
    return moment.isoformat() if moment else ""
