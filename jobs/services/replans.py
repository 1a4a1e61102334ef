"""Plans again when the day breaks, changing as little as possible; see `settling` for what then."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from functools import partial

from bays.models import EquipmentUnit, Technician
from bays.services.equipment import take_out_of_service
from bays.services.people import record_absence
from jobs.models import Step
from jobs.planning.causes import Cause
from jobs.selectors.proposals import waits_for
from jobs.services.plan_changes import PlanChange
from jobs.services.settling import settle
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid

# Work that runs over without a word is given this much more at a time.
LONGER_BY = timedelta(minutes=15)


def repair_plan(*, by: Actor, why: str) -> PlanChange:
    """Put right whatever the plan in force breaks: steps that did not start, absences, upkeep.

    Raises:
        NotAllowed: this person may not re-plan.
        Conflict: ``no_plan``, with what binds.
    """
    require(by, Action.REPLAN)
    return settle(by=by, why=why, cause=Cause("repair"))


def technician_out(
    *, by: Actor, technician: Technician, starts_at: datetime, ends_at: datetime, reason: str
) -> PlanChange:
    """Record an absence and give the technician's steps to others, or to other times."""
    require(by, Action.REPLAN)
    _refuse_backwards(starts_at, ends_at)

    def record() -> None:
        record_absence(
            by=by, technician=technician, starts_at=starts_at, ends_at=ends_at, reason=reason
        )

    cause = Cause("technician_out", technician.code, starts_at, ends_at)
    return settle(by=by, why=f"{technician.name} is away: {reason}", cause=cause, record=record)


def unit_out(
    *, by: Actor, unit: EquipmentUnit, reason: str, until: datetime | None = None
) -> PlanChange:
    """Take a unit out of service and plan its steps with other units, or at other times."""
    require(by, Action.TAKE_UNIT_OUT)
    cause = Cause("unit_out", unit.code, None, until) if unit.type.exclusive else Cause("repair")
    return settle(
        by=by,
        why=f"{unit.name} is out of service: {reason}",
        cause=cause,
        record=lambda: take_out_of_service(by=by, unit=unit, reason=reason, until=until),
    )


def runs_long(*, by: Actor, step: Step, ends_at: datetime) -> PlanChange:
    """Give a step that is being done more time and move what stands in its way."""
    require(by, Action.RECORD_OUTCOME if by.role else Action.REPLAN)
    cause = Cause("runs_long", str(step.pk), None, ends_at)
    return settle(by=by, why=f"{step.label} of {step.visit} takes longer", cause=cause)


def zone_closed(
    *, by: Actor, code: str, starts_at: datetime, ends_at: datetime, reason: str
) -> PlanChange:
    """Close a piece of floor for a time: move what stands in the plan there, then hold it.

    While the new plan waits to be accepted, the floor is not held yet: what it is planned for
    still holds it.
    """
    require(by, Action.REPLAN)
    _refuse_backwards(starts_at, ends_at)
    cause = Cause("zone_closed", code, starts_at, ends_at, reason)
    return settle(by=by, why=f"{code} is closed: {reason}", cause=cause)


def watch_plan(*, shop_id: int, now: datetime) -> list[PlanChange]:
    """What the clock does by itself: more time for work that runs over, new times for what waits.

    A shop without a way out keeps its plan; the day board shows what is late.
    """
    by = Actor.system(shop_id)
    changes = []
    for step in overrunning(shop_id, now):
        if waits_for(shop_id, "runs_long", str(step.pk), now):
            continue  # somebody is being asked already
        changes += _tried(partial(runs_long, by=by, step=step, ends_at=now + LONGER_BY))
    if waits_for(shop_id, "repair", "", now):
        return [change for change in changes if not change.unchanged]
    changes += _tried(partial(repair_plan, by=by, why="Steps did not start when planned"))
    return [change for change in changes if not change.unchanged]


def overrunning(shop_id: int, now: datetime) -> Sequence[Step]:
    """Steps being done whose planned end has passed."""
    return list(
        Step.objects.for_shop(shop_id)
        .filter(state=Step.State.DOING, ends_at__lt=now)
        .select_related("visit")
        .order_by("ends_at")
    )


def _tried(work: Callable[[], PlanChange]) -> list[PlanChange]:
    try:
        return [work()]
    except Conflict:
        return []


def _refuse_backwards(starts_at: datetime, ends_at: datetime) -> None:
    if starts_at >= ends_at:
        fault = FieldError("ends_at", "it ends before it starts", "a later time")
        raise Invalid("backwards", "This time ends before it starts.", errors=[fault])
