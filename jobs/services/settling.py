"""What broke the day is recorded; the repaired plan is made at once, or waits to be accepted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from django.db import transaction
from django.utils import timezone

from bays.models import HoldReason, ResourceKind
from bays.planner import Replan
from bays.services.holds import HoldWanted, take_holds
from jobs.models import Proposal, Step
from jobs.planning.causes import Cause, mark_of, row_facts
from jobs.planning.problem import ShopPlan, load_shop_plan
from jobs.selectors.proposals import open_proposals
from jobs.services.plan_changes import (
    PlanChange,
    apply_replan,
    no_plan,
    plan_change,
    replanned,
)
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.errors import Stale
from shopcal.history.record import record_event
from shopcal.retrying import retried

# The person waits for the page meanwhile.
BETTER_SECONDS = 0.8
TRIES = 3


def settle(
    *, by: Actor, why: str, cause: Cause, record: Callable[[], object] = lambda: None
) -> PlanChange:
    """Record what happened, and repair the plan where that moves nobody's promise.

    Where it does, nothing moves yet: the repaired plan is kept as a proposal. The plan is worked
    out before the transaction and made anew when another one came into force meanwhile.

    Raises:
        Conflict: ``no_plan``, with what binds. Stale: ``plan_changed``, again and again.
    """
    for _ in range(TRIES - 1):
        try:
            return _tried(by, why, cause, record)
        except Stale:
            continue
    return _tried(by, why, cause, record)


def _tried(by: Actor, why: str, cause: Cause, record: Callable[[], object]) -> PlanChange:
    shop_plan, answer = _answered(by.shop_id, cause)
    return retried(lambda: _store(by, why, cause, record, shop_plan, answer))


def _answered(shop_id: int, cause: Cause) -> tuple[ShopPlan, Replan]:
    shop_plan = load_shop_plan(Shop.objects.get(pk=shop_id), timezone.now())
    answer = replanned(shop_plan, cause.disruption(shop_plan), seconds=BETTER_SECONDS)
    if not isinstance(answer, Replan):
        raise no_plan(answer)
    return shop_plan, answer


@transaction.atomic
def _store(
    by: Actor,
    why: str,
    cause: Cause,
    record: Callable[[], object],
    shop_plan: ShopPlan,
    answer: Replan,
) -> PlanChange:
    lock_and_compare(by, shop_plan)
    record()
    _forget_older(by, cause)
    if not answer.changes:
        close_floor(by, cause)
        return plan_change(shop_plan, answer, why)
    if answer.promise_moves:
        return _wait(by, why, cause, shop_plan, answer)
    kept = _kept(by, why, cause, shop_plan, answer, Proposal.State.APPLIED)
    change = apply_replan(by=by, shop_plan=shop_plan, answer=answer, why=why)
    close_floor(by, cause)
    kept.plan_mark = mark_of(load_shop_plan(shop_plan.shop, timezone.now()))
    kept.save(update_fields=["plan_mark"])
    return replace(change, proposal_id=kept.pk)


def _wait(by: Actor, why: str, cause: Cause, shop_plan: ShopPlan, answer: Replan) -> PlanChange:
    kept = _kept(by, why, cause, shop_plan, answer, Proposal.State.OPEN)
    change = plan_change(shop_plan, answer, why)
    facts = {
        "why": why,
        "changes": list(change.changes),
        "promises": [promise.says for promise in change.promises],
    }
    record_event(by=by, kind="plan.proposed", subject=f"proposal:{kept.pk}", after=facts)
    return replace(change, proposal_id=kept.pk, waits=True)


def _kept(
    by: Actor, why: str, cause: Cause, shop_plan: ShopPlan, answer: Replan, state: str
) -> Proposal:
    vehicles = {change.vehicle for change in answer.changes}
    return Proposal.objects.create(
        shop_id=by.shop_id,
        why=why[:400],
        cause=cause.as_json(),
        plan_mark=mark_of(shop_plan),
        before=[row_facts(shop_plan, r) for r in shop_plan.plan.rows if r.vehicle in vehicles],
        after=[row_facts(shop_plan, r) for r in answer.plan.rows if r.vehicle in vehicles],
        changes=[change.says for change in answer.changes],
        promises=[move.says for move in answer.promise_moves],
        state=state,
        made_by=by.name,
        made_at=timezone.now(),
    )


def _forget_older(by: Actor, cause: Cause) -> None:
    """Only the latest proposal about a thing waits."""
    open_proposals(by.shop_id).filter(cause__kind=cause.kind, cause__subject=cause.subject).update(
        state=Proposal.State.STALE, ended_at=timezone.now()
    )


def close_floor(by: Actor, cause: Cause) -> None:
    """Hold the floor that is closed, once nothing is planned there any more."""
    if cause.kind != "zone_closed" or cause.starts_at is None or cause.ends_at is None:
        return
    wanted = HoldWanted(
        ResourceKind.ZONE,
        cause.subject,
        cause.starts_at,
        cause.ends_at,
        reason=HoldReason.CLOSED,
        note=cause.reason,
    )
    take_holds(by=by, wanted=[wanted])


def lock_and_compare(by: Actor, shop_plan: ShopPlan) -> None:
    """The plan's steps as they were read, locked: a repair of another plan is not stored.

    Raises:
        Stale: ``plan_changed``.
    """
    known = {step.pk: (step.version, step.state) for step in shop_plan.steps.values()}
    rows = Step.objects.for_shop(by.shop_id).filter(pk__in=known).order_by("pk")
    now = {row.pk: (row.version, row.state) for row in rows.select_for_update(of=("self",))}
    if now != known:
        raise Stale("plan_changed", "The plan was changed meanwhile.", detail="Look at it again.")
