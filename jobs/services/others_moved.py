"""Visits that an offer moves to make room: still as the quote saw them, then moved and told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bays.planner import Plan, Row
from bays.planner.changes import list_changes
from jobs.models import Step
from jobs.planning.problem import ShopPlan
from jobs.planning.request import BookingCase
from jobs.services.quotes import row_in
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict
from shopcal.history.record import record_event


def offer_gone() -> Conflict:
    return Conflict(
        "offer_gone",
        "This time has just been taken.",
        detail="Nothing was booked. Ask for new offers and choose again.",
    )


def refuse_if_moved_since(by: Actor, kept_moved: Sequence[list[Any]]) -> None:
    """Lock the steps an offer moves. Call it inside the service's transaction.

    Raises:
        Conflict: ``offer_gone``, one of them was changed since the quote, begun or done.
    """
    seen = {int(row[0].split(":")[1]): version for _, version, row in kept_moved}
    if not seen:
        return
    rows = Step.objects.for_shop(by.shop_id).filter(pk__in=seen).order_by("pk")
    now = {
        step.pk: step.version
        for step in rows.select_for_update(of=("self",))
        if step.state == Step.State.PLANNED and not step.pinned
    }
    if now != seen:
        raise offer_gone()


def moved_rows(asked: ShopPlan, kept_moved: Sequence[list[Any]]) -> tuple[Row, ...]:
    """The rows of others that an offer was made with, counted from today's origin.

    Raises:
        Conflict: ``offer_gone``, a step or a place is no longer in the plan.
    """
    rows = tuple(row_in(asked, kept, vehicle) for vehicle, _, kept in kept_moved)
    if any(r.operation not in asked.steps or r.placement not in asked.places for r in rows):
        raise offer_gone()
    return rows


def refuse_if_later(asked: ShopPlan, plan: Plan, moved: Sequence[Row]) -> None:
    """Nobody who makes room is later against the promise than without.

    Raises:
        Conflict: ``offer_gone``, a promise was changed since the quote.
    """
    before = asked.plan.late
    if any(plan.late.get(r.vehicle, 0) > before.get(r.vehicle, 0) for r in moved):
        raise offer_gone()


def tell_moved(by: Actor, asked: ShopPlan, moved: Sequence[Row], case: BookingCase) -> None:
    """Tell the history which visits moved, as a re-plan does."""
    if not moved:
        return
    new = {row.operation for row in moved}
    before = [row for row in asked.plan.rows if row.operation in new]
    changes = list_changes(asked.problem, before, moved)
    record_event(
        by=by,
        kind="plan.changed",
        subject=f"shop:{by.shop_id}",
        after={
            "why": f"room for {case.vehicle.label or 'a vehicle'}",
            "changes": [change.says for change in changes],
            "promises": [],
        },
    )
