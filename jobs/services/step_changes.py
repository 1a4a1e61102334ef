"""What happens to the steps of a visit that is cancelled, held or worked on again.

Call these inside the service's transaction, with the visit locked.
"""

from __future__ import annotations

from datetime import datetime

from bays.models import Hold
from jobs.models import Calibration, Step, Visit
from jobs.services.rows import told_calibration
from shopcal.accounts.actor import Actor


def cancel_step(*, by: Actor, step: Step, now: datetime) -> None:
    """Take a step that is not done out of the plan and give back what it holds."""
    if step.state in (Step.State.DONE, Step.State.CANCELLED):
        return
    _free(by, step, now)
    step.state = Step.State.CANCELLED
    step.ended_at = now if step.started_at else None
    step.version += 1
    step.save()


def cancel_steps(*, by: Actor, visit: Visit, now: datetime) -> None:
    """Cancel what is left of a visit; a step done before stays done, but holds no floor."""
    for step in visit.steps.select_for_update(of=("self",)):
        _free(by, step, now)
        cancel_step(by=by, step=step, now=now)


def call_off(*, by: Actor, row: Calibration, why: str, now: datetime) -> None:
    """Mark a locked calibration as cancelled; the table of moves was asked before."""
    before = {"state": row.state}
    row.state = "cancelled"
    row.cancelled_reason = why
    row.attempts.filter(ended_at__isnull=True).update(ended_at=now, note=why)
    told_calibration(by, row, "calibration.cancelled", before, state=row.state, reason=why)


def pause_steps(*, by: Actor, visit: Visit, now: datetime) -> None:
    """Put steps being done back to planned without a time, and give back what they hold.

    The vehicle must make room: its floor is free for others from now on.
    """
    for step in visit.steps.select_for_update(of=("self",)).filter(state=Step.State.DOING):
        _free(by, step, now)
        _back_to_planned(step)


def plan_step_again(*, step: Step) -> None:
    """Make a step that was finished one that can be started once more."""
    if step.state == Step.State.DONE:
        _back_to_planned(step)


def _back_to_planned(step: Step) -> None:
    step.state = Step.State.PLANNED
    step.starts_at = step.ends_at = step.started_at = step.ended_at = None
    step.version += 1
    step.save()


def _free(by: Actor, step: Step, now: datetime) -> None:
    holds = Hold.objects.for_shop(by.shop_id).filter(step_id=step.pk)
    holds.filter(starts_at__gte=now).delete()
    holds.filter(ends_at__gt=now).update(ends_at=now)
