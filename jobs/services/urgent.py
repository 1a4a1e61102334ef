"""An urgent vehicle: placed as soon as can be, by moving others where that costs least."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from bays.planner import Parts, Replan, Row, Urgent, parts
from jobs.models import Visit
from jobs.planning.problem import ShopPlan, load_shop_plan, warm_shop_plan
from jobs.planning.request import NEW, BookingCase, BookingRequest, planner_vehicle
from jobs.services.booking import complete_case, new_visit, tell_booked
from jobs.services.plan_changes import PlanChange, apply_replan, no_plan, plan_change, replanned
from jobs.services.quotes import promise_after
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.retrying import retried

# How much a late minute of an urgent vehicle counts against one of the others.
URGENT_WEIGHT = 5


@dataclass(frozen=True)
class UrgentProposal:
    """When the urgent vehicle would be done, and what that moves. Nothing is stored yet."""

    starts_at: datetime
    ends_at: datetime
    promised_at: datetime
    place: str
    change: PlanChange
    shop_plan: ShopPlan
    apart: Parts


def propose_urgent(*, by: Actor, request: BookingRequest) -> UrgentProposal:
    """What booking this vehicle as urgent would do. Changes nothing.

    Raises:
        NotAllowed, Invalid. Conflict: ``no_plan``, with what binds.
    """
    require(by, Action.BOOK_VISIT)
    case = complete_case(by.shop_id, request)
    shop_plan, answer, rows = _planned(by, case)
    starts_at = shop_plan.clock.moment(min(row.start for row in rows))
    ends_at = shop_plan.clock.moment(max(row.end for row in rows))
    places = [answer.problem.placements[row.placement] for row in rows]
    return UrgentProposal(
        starts_at=starts_at,
        ends_at=ends_at,
        promised_at=promise_after(ends_at),
        place=", ".join(dict.fromkeys(p.label for p in places if p.kind == "floor")),
        change=plan_change(shop_plan, answer, _why(case)),
        shop_plan=shop_plan,
        apart=parts(answer, shop_plan.plan),
    )


def book_urgent(*, by: Actor, request: BookingRequest) -> tuple[Visit, PlanChange]:
    """Book the vehicle and move the others, in one transaction.

    Raises:
        NotAllowed, Invalid. Conflict: ``no_plan``, or ``double_booking`` when somebody was faster.
    """
    require(by, Action.BOOK_VISIT)
    require(by, Action.REPLAN)
    case = complete_case(by.shop_id, request)
    warm_shop_plan(by.shop_id)
    return retried(lambda: _book(by, case))


@transaction.atomic
def _book(by: Actor, case: BookingCase) -> tuple[Visit, PlanChange]:
    shop_plan, answer, rows = _planned(by, case)
    visit, shop_plan = new_visit(by=by, case=case, asked=shop_plan, rows=rows)
    change = apply_replan(by=by, shop_plan=shop_plan, answer=answer, why=_why(case))
    tell_booked(by, visit, case)
    return visit, change


def _planned(by: Actor, case: BookingCase) -> tuple[ShopPlan, Replan, list[Row]]:
    shop = Shop.objects.get(pk=by.shop_id)
    shop_plan = load_shop_plan(shop, timezone.now())
    wanted_by = case.request.wanted_by
    due = shop_plan.clock.up(wanted_by) if wanted_by else shop_plan.problem.now
    vehicle, places = planner_vehicle(case, shop_plan, due)
    shop_plan = shop_plan.with_places(places)
    urgent = Urgent(replace(vehicle, weight=max(vehicle.weight, URGENT_WEIGHT)))
    answer = replanned(shop_plan, urgent)
    if not isinstance(answer, Replan):
        raise no_plan(answer)
    return shop_plan, answer, [row for row in answer.plan.rows if row.vehicle == NEW]


def _why(case: BookingCase) -> str:
    return f"urgent: {case.vehicle.label or 'a vehicle'} for {case.request.customer_name}"
