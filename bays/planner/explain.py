"""Why a vehicle is done when it is: a chain from its last operation back to what began it."""

from __future__ import annotations

from bays.planner.answers import Link, Plan, Reasons
from bays.planner.binding import Held, what_holds
from bays.planner.holding import rows_by_vehicle
from bays.planner.problem import Problem, Row

LONGEST_CHAIN = 24


def explain(problem: Problem, plan: Plan, vehicle: str) -> Reasons:
    """The chain of binding resources behind the vehicle's finish, latest first.

    Each link names what its operation waited for. A resource held by another vehicle leads on
    to that vehicle's operation; an operation that waited for nothing leads to the one before,
    and so does one that waited for the morning: what came before it came too late that day.

    Raises:
        KeyError: the plan has no rows for the vehicle.
    """
    grouped = rows_by_vehicle(plan.rows)
    row: Row | None = grouped[vehicle][-1]
    chain: list[Link] = []
    seen = set()
    while row is not None and row.key not in seen and len(chain) < LONGEST_CHAIN:
        seen.add(row.key)
        held = what_holds(problem, plan.rows, problem.vehicle_by_id[row.vehicle], row)
        chain.append(_link(problem, row, held))
        row = held.holder or _before(problem, grouped[row.vehicle], row, held)
    return Reasons(_summary(problem, grouped[vehicle][-1], chain), tuple(chain))


def _before(problem: Problem, own: list[Row], row: Row, held: Held) -> Row | None:
    """The row before, when the chain goes on within the vehicle."""
    resource = held.binding.resource
    over_night = resource == "opening hours" or resource in problem.technician_by_id
    if held.waited and not over_night:
        return None
    earlier = [other for other in own if other.start < row.start]
    return earlier[-1] if earlier else None


def _link(problem: Problem, row: Row, held: Held) -> Link:
    label = problem.vehicle_by_id[row.vehicle].label
    name = problem.operation_by_key[row.key].name
    says = f"{label}, {name} at {problem.clock(row.start)}: {held.binding.says}"
    return Link(row.vehicle, row.operation, row.start, held.binding.resource, says)


def _summary(problem: Problem, last: Row, chain: list[Link]) -> str:
    vehicle = problem.vehicle_by_id[last.vehicle]
    promise = f"promised for {problem.clock(vehicle.due)}"
    late = last.end - vehicle.due
    state = f"{late} minutes late, {promise}" if late > 0 else promise
    waits = [link for link in chain if link.resource not in ("order", "arrival", "now")]
    reason = (waits or chain)[0].says
    return f"{vehicle.label} is done at {problem.clock(last.end)}, {state}. {reason}."
