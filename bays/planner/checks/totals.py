"""Figures a plan carries about itself: minutes late and cost, reckoned again from the rows."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from bays.planner.answers import Plan, Rule, Violation
from bays.planner.checks.travel import first_stand, lot_of, travel
from bays.planner.problem import Problem, Row, Vehicle


def check_totals(problem: Problem, plan: Plan) -> Iterator[Violation]:
    planned = {(row.vehicle, row.operation): row for row in plan.rows}
    cost, late = 0, {}
    for vehicle in problem.vehicles:
        rows = [planned[vehicle.id, operation.id] for operation in vehicle.operations]
        minutes_late = max(0, rows[-1].end - vehicle.due)
        if minutes_late > 0:
            late[vehicle.id] = minutes_late
        cost += problem.costs.tardy * vehicle.weight * minutes_late
        cost += problem.costs.flow * vehicle.flow_weight * (rows[-1].end - vehicle.release)
        cost += problem.costs.move * _moves(problem, vehicle, rows)
    cost += _changes(problem, planned)
    if dict(plan.late) != late:
        yield Violation(Rule.WRONG_LATE, f"says late {dict(plan.late)}, is late {late}")
    if plan.cost != cost:
        yield Violation(Rule.WRONG_COST, f"says it costs {plan.cost}, costs {cost}")


def _moves(problem: Problem, vehicle: Vehicle, rows: list[Row]) -> int:
    path = [first_stand(problem, vehicle)]
    for row in rows:
        path.append(row.placement)
        if row.park_after and row is not rows[-1]:
            path.append(lot_of(problem))
    return sum(1 for a, b in pairwise(path) if travel(problem, a, b) > 0)


def _changes(problem: Problem, planned: dict[tuple[str, str], Row]) -> int:
    total = 0
    for before in problem.previous:
        row = planned.get((before.vehicle, before.operation))
        if row is not None:
            total += problem.costs.changed_start * (row.start != before.start)
            total += problem.costs.changed_resource * (row.technician != before.technician)
            total += problem.costs.changed_resource * (row.placement != before.placement)
    return total
