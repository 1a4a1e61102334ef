"""Steps as they really happen: begun and ended by people, with the plan following the facts."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone

from bays.models import Hold, ResourceKind, Technician
from bays.overlap import is_overlap
from bays.planner import Replan, Row
from bays.planner.holding import DRIVES_OUT
from jobs.models import Step
from jobs.planning.problem import ShopPlan, load_shop_plan, operation_id, warm_shop_plan
from jobs.planning.space import OUTSIDE
from jobs.services.plan_changes import replanned
from jobs.services.plans import store_rows
from jobs.services.rows import technician_of
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, Stale
from shopcal.history.record import record_event
from shopcal.retrying import retried


def start_step(*, by: Actor, step: Step) -> Step:
    """Begin a step now: it takes its resources from now on, and what stands in its way moves.

    Starting a step that is being done already changes nothing.

    Raises:
        Conflict: ``step_not_planned``, ``technician_busy``, or ``cannot_start`` when the floor or
            a unit is in use by work that is being done.
    """
    require(by, Action.RECORD_SCAN)
    warm_shop_plan(by.shop_id)
    return retried(lambda: _start(by, step.pk))


@transaction.atomic
def _start(by: Actor, step_id: int) -> Step:
    step = _locked(by, step_id)
    if step.state == Step.State.DOING:
        return step
    if step.state != Step.State.PLANNED:
        raise Conflict("step_not_planned", f"{step.label} is {step.get_state_display()} already.")
    now = timezone.now()
    technician = technician_of(by) or step.technician
    if technician is None:
        raise Conflict(
            "step_not_planned",
            f"{step.label} has no technician and no time yet.",
            detail="Plan the day again, then start it.",
        )
    _refuse_if_busy(technician, step)
    if step.second_person_id == technician.pk:
        step.second_person = step.technician
    step.technician = technician
    step.state = Step.State.DOING
    length = _planned_length(step)
    step.started_at = step.starts_at = now
    step.ends_at = now + length
    step.version += 1
    step.save()
    _let_go_of_earlier_floor(step, now)
    _follow(by, step, now)
    record_event(
        by=by,
        kind="step.started",
        subject=f"step:{step.pk}",
        visit_id=step.visit_id,
        after={"label": step.label, "technician": technician.name},
    )
    return step


def _planned_length(step: Step) -> timedelta:
    """Its minutes; less where the plan has it go on with what is set out already."""
    shorter = timedelta(minutes=step.minutes - step.shared_minutes)
    shares = step.starts_at and step.ends_at and step.ends_at - step.starts_at == shorter
    return shorter if shares else timedelta(minutes=step.minutes)


def finish_step(*, by: Actor, step: Step) -> Step:
    """End a step now and give back people and equipment.

    Its floor stays taken until the vehicle's next step, where the plan has it wait there.
    """
    require(by, Action.RECORD_SCAN)
    return retried(lambda: _finish(by, step.pk))


@transaction.atomic
def _finish(by: Actor, step_id: int) -> Step:
    step = _locked(by, step_id)
    if step.state == Step.State.DONE:
        return step
    now = timezone.now()
    step.state = Step.State.DONE
    step.ended_at = now
    step.started_at = step.started_at or now
    step.version += 1
    step.save()
    waits_there = _waits_there(step)
    for hold in (
        Hold.objects.for_shop(by.shop_id).filter(step_id=step.pk).select_related("resource")
    ):
        if waits_there and hold.resource.kind == ResourceKind.ZONE:
            continue
        if hold.note == DRIVES_OUT:
            _drive_out_now(hold, now)
        else:
            _end_hold(hold, now)
    record_event(
        by=by,
        kind="step.finished",
        subject=f"step:{step.pk}",
        visit_id=step.visit_id,
        after={"label": step.label, "minutes": _minutes(step)},
    )
    return step


def pin_step(*, by: Actor, step: Step, pinned: bool, version: int | None = None) -> Step:
    """Keep a step where the plan has it, whatever a re-plan would rather do, or let it go."""
    require(by, Action.PIN_STEP)
    with transaction.atomic():
        current = _locked(by, step.pk)
        if version is not None and version != current.version:
            raise Stale("step_changed", f"{current.label} was changed by somebody else.")
        current.pinned = pinned
        current.version += 1
        current.save(update_fields=["pinned", "version"])
        record_event(
            by=by,
            kind="step.pinned" if pinned else "step.unpinned",
            subject=f"step:{current.pk}",
            visit_id=current.visit_id,
            after={"label": current.label},
        )
    return current


def _follow(by: Actor, step: Step, now: datetime) -> None:
    """Take what the step needs from now on; move planned work out of its way where that helps."""
    shop = Shop.objects.get(pk=by.shop_id)
    shop_plan = load_shop_plan(shop, now)
    answer = replanned(shop_plan, None)
    if not isinstance(answer, Replan):
        # A step that should have begun by now may stand in the way: it waits for a new time.
        shop_plan = load_shop_plan(shop, now, late_start_minutes=0)
        answer = replanned(shop_plan, None)
    changed = [row for row in shop_plan.plan.rows if row.operation == operation_id(step)]
    if isinstance(answer, Replan):
        # The step's own row as well: whether the vehicle is parked after it may have changed.
        before = {row.operation: row for row in shop_plan.plan.rows}
        changed = [
            row
            for row in answer.plan.rows
            if row.operation == operation_id(step) or before.get(row.operation) != row
        ]
        shop_plan = replace(shop_plan, problem=answer.problem)
    _store(by, shop_plan, step, changed)


def _store(by: Actor, shop_plan: ShopPlan, step: Step, changed: list[Row]) -> None:
    # The plan was read after the step was saved, so its steps are other objects of the same rows.
    try:
        store_rows(by=by, shop_plan=shop_plan, rows=changed)
    except Conflict as refused:
        raise Conflict(
            "cannot_start",
            f"{step.label} cannot start now: something it needs is in use.",
            detail="Finish the work that uses it first, or ask for the day to be planned again.",
        ) from refused
    step.refresh_from_db()


def _let_go_of_earlier_floor(step: Step, now: datetime) -> None:
    """The vehicle leaves where it stood after its last step."""
    earlier = Step.objects.filter(visit_id=step.visit_id, state=Step.State.DONE)
    for hold in Hold.objects.filter(
        step_id__in=list(earlier.values_list("pk", flat=True)), ends_at__gt=now
    ):
        _end_hold(hold, now)


def _drive_out_now(hold: Hold, now: datetime) -> None:
    """The vehicle is done earlier than planned: its way out is now, where the floor is free.

    Where somebody else is on that floor, people see each other; nothing is held then.
    """
    hold.starts_at, hold.ends_at = now, now + (hold.ends_at - hold.starts_at)
    try:
        with transaction.atomic():
            hold.save(update_fields=["starts_at", "ends_at"])
    except IntegrityError as error:
        if not is_overlap(error):
            raise
        hold.delete()


def _end_hold(hold: Hold, now: datetime) -> None:
    if hold.starts_at >= now:
        hold.delete()
    elif hold.ends_at > now:
        hold.ends_at = now
        hold.save(update_fields=["ends_at"])


def _waits_there(step: Step) -> bool:
    following = (
        Step.objects.filter(visit_id=step.visit_id, order__gt=step.order, state=Step.State.PLANNED)
        .order_by("order")
        .first()
    )
    return following is not None and not step.park_after and step.placement_key not in OUTSIDE


def _refuse_if_busy(technician: Technician, step: Step) -> None:
    busy = (
        Step.objects.filter(technician=technician, state=Step.State.DOING)
        .exclude(pk=step.pk)
        .select_related("visit")
        .first()
    )
    if busy is not None:
        raise Conflict(
            "technician_busy",
            f"{technician.name} is still doing {busy.label} of {busy.visit}.",
            detail="Finish or stop that first, or let somebody else start this.",
        )


def _locked(by: Actor, step_id: int) -> Step:
    # Locked, so that a double tap or two people at one vehicle start or end it once.
    return (
        Step.objects.for_shop(by.shop_id)
        .select_for_update(of=("self",))
        .select_related("visit", "technician", "second_person")
        .get(pk=step_id)
    )


def _minutes(step: Step) -> int:
    if step.started_at is None or step.ended_at is None:
        return 0
    return round((step.ended_at - step.started_at).total_seconds() / 60)
