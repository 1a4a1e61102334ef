"""Stores a verified plan: the steps' places in it and every hold they need, in one transaction."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence

from bays.convert.planner import code_of
from bays.models import ResourceKind, Technician
from bays.planner import Plan, Row, plan_of, verify
from bays.planner.holding import holds
from bays.services.holds import HoldWanted, replace_holds
from jobs.models import Step
from jobs.planning.problem import ShopPlan
from jobs.planning.space import stored_placement
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict


def refuse_unless_verified(
    shop_plan: ShopPlan, plan: Plan, only: Collection[str] | None = None
) -> None:
    """Let the independent verifier check a plan before anything is stored.

    With ``only`` just the rules that these vehicles' rows break count: a visit that runs late by
    itself must not keep others from being booked.

    Raises:
        Conflict: ``plan_not_verified`` with every rule the plan breaks.
    """
    violations = verify(shop_plan.problem, plan)
    if only is not None:
        violations = [v for v in violations if any(row.vehicle in only for row in v.rows)]
    if violations:
        raise Conflict(
            "plan_not_verified",
            "This plan no longer holds.",
            detail=" ".join(violation.says for violation in violations[:5]),
            facts={"rules": [violation.rule for violation in violations]},
        )


def store_rows(*, by: Actor, shop_plan: ShopPlan, rows: Iterable[Row]) -> list[Step]:
    """Write rows into their steps and take their holds. Call it inside the service's transaction.

    ``rows`` are the changed rows; the holds of every step of the vehicles they belong to are
    written anew, since a step's floor is held until the vehicle's next step.

    Raises:
        Conflict: ``double_booking``, somebody else took a resource meanwhile.
    """
    changed = {row.operation: row for row in rows}
    whole = _with_the_rest(shop_plan, changed)
    technicians = {
        technician.code: technician
        for technician in Technician.objects.for_shop(by.shop_id).filter(active=True)
    }
    steps = []
    for row in changed.values():
        step = shop_plan.steps[row.operation]
        _place(step, row, shop_plan, technicians)
        step.save()
        steps.append(step)
    wanted = _holds_wanted(shop_plan, whole)
    replace_holds(
        by=by, step_ids=[shop_plan.steps[row.operation].pk for row in whole], wanted=wanted
    )
    return steps


def plan_with(shop_plan: ShopPlan, rows: Iterable[Row]) -> Plan:
    """The plan in force with these rows in the place of the ones of the same operations."""
    new = {row.operation: row for row in rows}
    kept = [row for row in shop_plan.plan.rows if row.operation not in new]
    return plan_of(shop_plan.problem, [*kept, *new.values()])


def _with_the_rest(shop_plan: ShopPlan, changed: dict[str, Row]) -> list[Row]:
    vehicles = {row.vehicle for row in changed.values()}
    rest = [
        row
        for row in shop_plan.plan.rows
        if row.vehicle in vehicles and row.operation not in changed
    ]
    return [*rest, *changed.values()]


def _place(step: Step, row: Row, shop_plan: ShopPlan, technicians: dict[str, Technician]) -> None:
    step.ends_at = shop_plan.clock.moment(row.end)
    step.park_after = row.park_after
    if step.state == Step.State.DOING:  # what has begun stays where it is and gets a new end
        return
    place = shop_plan.places[row.placement]
    step.starts_at = shop_plan.clock.moment(row.start)
    step.technician = technicians[code_of(row.technician)]
    step.second_person = technicians[code_of(row.second_person)] if row.second_person else None
    step.unit_codes = [code_of(unit) for unit in row.units]
    step.placement_label = place.planned.label
    if place.found is not None:
        step.placement = stored_placement(place.found, place.ground, place.way)
        step.floor_edition = place.edition
    elif step.placement_key != row.placement:
        step.placement, step.floor_edition = None, None
    step.placement_key = row.placement
    step.version += 1


def _holds_wanted(shop_plan: ShopPlan, rows: Sequence[Row]) -> list[HoldWanted]:
    by_vehicle: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_vehicle[row.vehicle].append(row)
    wanted = []
    for own in by_vehicle.values():
        for hold in holds(shop_plan.problem, own):
            kind, code = hold.resource.split(":", 1)
            step = shop_plan.steps[hold.row.operation]
            starts_at = shop_plan.clock.moment(hold.start)
            # The grid may begin a little before the step really did.
            if step.started_at is not None and not hold.why:
                starts_at = max(starts_at, step.started_at)
            wanted.append(
                HoldWanted(
                    kind=ResourceKind(kind),
                    code=code,
                    starts_at=starts_at,
                    ends_at=shop_plan.clock.moment(hold.end),
                    step_id=step.pk,
                    note=hold.why,
                )
            )
    return [want for want in wanted if want.starts_at < want.ends_at]
