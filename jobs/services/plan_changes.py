"""What a new plan changes, in words, and storing it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from bays.planner import Disruption, Infeasible, ModelError, NotProved, Replan, replan
from jobs.planning.problem import ShopPlan, vehicle_id
from jobs.services.plans import store_rows
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict
from shopcal.history.record import record_event


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
    proposal_id: int | None = None
    waits: bool = False  # nothing is moved until somebody accepts it

    @property
    def unchanged(self) -> bool:
        return not self.changes


def replanned(
    shop_plan: ShopPlan, disruption: Disruption | None, *, seconds: float = 0.0
) -> Replan | Infeasible | NotProved | ModelError:
    """The planner's answer from now on, with the shop's own freeze. Stores nothing."""
    return replan(
        shop_plan.problem,
        shop_plan.plan,
        shop_plan.problem.now,
        disruption,
        freeze_minutes=shop_plan.shop.booking_freeze_minutes,
        seconds=seconds,
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
