"""Plans again when the day breaks, changing as little as possible, and stores the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

from django.db import transaction
from django.utils import timezone

from bays.convert.planner import unit_key, zone_key
from bays.models import EquipmentUnit, HoldReason, ResourceKind, Technician
from bays.planner import (
    Disruption,
    Infeasible,
    ModelError,
    NotProved,
    Replan,
    RunsLong,
    UnitOut,
    Window,
    ZoneClosed,
    replan,
)
from bays.services.equipment import take_out_of_service
from bays.services.holds import HoldWanted, take_holds
from bays.services.people import record_absence
from jobs.models import Step
from jobs.planning.problem import (
    ShopPlan,
    load_shop_plan,
    operation_id,
    vehicle_id,
    warm_shop_plan,
)
from jobs.services.plans import store_rows
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid
from shopcal.history.record import record_event
from shopcal.retrying import retried

# Work that runs over without a word is given this much more at a time.
LONGER_BY = timedelta(minutes=15)


@dataclass(frozen=True)
class PromiseAtRisk:
    """A visit that the repaired plan finishes after what the customer was told."""

    visit_id: int
    ro_number: str
    promised_at: datetime
    finishes_at: datetime
    says: str


@dataclass(frozen=True)
class PlanChange:
    """What re-planning changed, in words, and whose promise it moves."""

    why: str
    changes: tuple[str, ...]
    promises: tuple[PromiseAtRisk, ...]

    @property
    def unchanged(self) -> bool:
        return not self.changes


def repair_plan(*, by: Actor, why: str) -> PlanChange:
    """Put right whatever the plan in force breaks: steps that did not start, absences, upkeep.

    Raises:
        NotAllowed: this person may not re-plan.
        Conflict: ``no_plan``, with what binds.
    """
    require(by, Action.REPLAN)
    # Looked at outside a transaction first: most often nothing is broken, and nobody waits for it.
    if _answered(by.shop_id, lambda _: None)[1].changes == ():
        return PlanChange(why, (), ())
    return retried(lambda: _repair(by, why, lambda _: None))


def technician_out(
    *, by: Actor, technician: Technician, starts_at: datetime, ends_at: datetime, reason: str
) -> PlanChange:
    """Record an absence and give the technician's steps to others, or to other times."""
    require(by, Action.REPLAN)
    _refuse_backwards(starts_at, ends_at)

    def work() -> PlanChange:
        with transaction.atomic():
            record_absence(
                by=by, technician=technician, starts_at=starts_at, ends_at=ends_at, reason=reason
            )
            return _repair(by, f"{technician.name} is away: {reason}", lambda _: None)

    warm_shop_plan(by.shop_id)
    return retried(work)


def unit_out(
    *, by: Actor, unit: EquipmentUnit, reason: str, until: datetime | None = None
) -> PlanChange:
    """Take a unit out of service and plan its steps with other units, or at other times."""
    require(by, Action.TAKE_UNIT_OUT)

    def disruption(shop_plan: ShopPlan) -> Disruption | None:
        if not unit.type.exclusive:
            return None
        end = shop_plan.clock.up(until) if until else shop_plan.problem.horizon
        return UnitOut(unit_key(unit.code), Window(shop_plan.problem.now, end))

    def work() -> PlanChange:
        with transaction.atomic():
            take_out_of_service(by=by, unit=unit, reason=reason, until=until)
            return _repair(by, f"{unit.name} is out of service: {reason}", disruption)

    warm_shop_plan(by.shop_id)
    return retried(work)


def runs_long(*, by: Actor, step: Step, ends_at: datetime) -> PlanChange:
    """Give a step that is being done more time and move what stands in its way."""
    require(by, Action.RECORD_OUTCOME if by.role else Action.REPLAN)

    def disruption(shop_plan: ShopPlan) -> Disruption:
        return RunsLong(vehicle_id(step.visit), operation_id(step), shop_plan.clock.up(ends_at))

    why = f"{step.label} of {step.visit} takes longer"
    warm_shop_plan(by.shop_id)
    return retried(lambda: _repair(by, why, disruption))


def zone_closed(
    *, by: Actor, code: str, starts_at: datetime, ends_at: datetime, reason: str
) -> PlanChange:
    """Close a piece of floor for a time: move what stands in the plan there, then hold it."""
    require(by, Action.REPLAN)
    _refuse_backwards(starts_at, ends_at)

    def disruption(shop_plan: ShopPlan) -> Disruption:
        return ZoneClosed(zone_key(code), shop_plan.clock.around(starts_at, ends_at))

    def work() -> PlanChange:
        with transaction.atomic():
            change = _repair(by, f"{code} is closed: {reason}", disruption)
            wanted = HoldWanted(
                ResourceKind.ZONE, code, starts_at, ends_at, reason=HoldReason.CLOSED, note=reason
            )
            take_holds(by=by, wanted=[wanted])
            return change

    warm_shop_plan(by.shop_id)
    return retried(work)


@transaction.atomic
def _repair(by: Actor, why: str, disruption: Callable[[ShopPlan], Disruption | None]) -> PlanChange:
    shop_plan, answer = _answered(by.shop_id, disruption)
    return apply_replan(by=by, shop_plan=shop_plan, answer=answer, why=why)


def _answered(
    shop_id: int, disruption: Callable[[ShopPlan], Disruption | None]
) -> tuple[ShopPlan, Replan]:
    shop = Shop.objects.get(pk=shop_id)
    shop_plan = load_shop_plan(shop, timezone.now())
    answer = replanned(shop_plan, disruption(shop_plan))
    if not isinstance(answer, Replan):
        raise no_plan(answer)
    return shop_plan, answer


def replanned(
    shop_plan: ShopPlan, disruption: Disruption | None
) -> Replan | Infeasible | NotProved | ModelError:
    """The planner's answer from now on, with the shop's own freeze. Stores nothing."""
    return replan(
        shop_plan.problem,
        shop_plan.plan,
        shop_plan.problem.now,
        disruption,
        freeze_minutes=shop_plan.shop.booking_freeze_minutes,
    )


def apply_replan(*, by: Actor, shop_plan: ShopPlan, answer: Replan, why: str) -> PlanChange:
    """Store the rows that differ and tell the history. Call it inside a transaction."""
    before = {row.operation: row for row in shop_plan.plan.rows}
    changed = [row for row in answer.plan.rows if before.get(row.operation) != row]
    change = plan_change(shop_plan, answer, why)
    if changed:
        store_rows(by=by, shop_plan=replace(shop_plan, problem=answer.problem), rows=changed)
        record_event(
            by=by,
            kind="plan.changed",
            subject=f"shop:{by.shop_id}",
            after={
                "why": why,
                "changes": list(change.changes),
                "promises": [promise.says for promise in change.promises],
            },
        )
    return change


def plan_change(shop_plan: ShopPlan, answer: Replan, why: str) -> PlanChange:
    """A re-plan in words."""
    return PlanChange(
        why, tuple(change.says for change in answer.changes), _at_risk(shop_plan, answer)
    )


def _at_risk(shop_plan: ShopPlan, answer: Replan) -> tuple[PromiseAtRisk, ...]:
    visits = {vehicle_id(step.visit): step.visit for step in shop_plan.steps.values()}
    return tuple(
        PromiseAtRisk(
            visit_id=visits[move.vehicle].pk,
            ro_number=visits[move.vehicle].ro_number,
            promised_at=visits[move.vehicle].promised_at,
            finishes_at=shop_plan.clock.moment(move.finish),
            says=move.says,
        )
        for move in answer.promise_moves
        if move.vehicle in visits
    )


def no_plan(answer: Infeasible | NotProved | ModelError) -> Conflict:
    """The refusal for a question without a plan, with what binds."""
    if isinstance(answer, ModelError):
        return Conflict("plan_broken", "The plan contradicts itself.", detail=answer.says)
    title = "There is no plan for this." if isinstance(answer, Infeasible) else "No plan was found."
    return Conflict("no_plan", title, detail=answer.binding.says)


def watch_plan(*, shop_id: int, now: datetime) -> list[PlanChange]:
    """What the clock does by itself: more time for work that runs over, new times for what waits.

    A shop without a way out keeps its plan; the day board shows what is late.
    """
    by = Actor.system(shop_id)
    changes = []
    for step in overrunning(shop_id, now):
        changes += _tried(partial(runs_long, by=by, step=step, ends_at=now + LONGER_BY))
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
