"""What a set of rows costs, and who is late."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bays.planner.answers import Plan
from bays.planner.holding import rows_by_vehicle
from bays.planner.problem import Problem, Row


def plan_of(problem: Problem, rows: Iterable[Row]) -> Plan:
    """Rows in order of start, with their cost and the minutes late of each late vehicle."""
    ordered = tuple(sorted(rows, key=lambda row: (row.start, row.vehicle, row.end)))
    late = {}
    cost = 0
    for vehicle_id, own in rows_by_vehicle(ordered).items():
        minutes_late = max(0, own[-1].end - problem.vehicle_by_id[vehicle_id].due)
        if minutes_late:
            late[vehicle_id] = minutes_late
        cost += vehicle_cost(problem, own)
    return Plan(rows=ordered, cost=cost, late=late)


def vehicle_cost(problem: Problem, rows: Sequence[Row]) -> int:
    """Cost of one vehicle's rows, given in order of start."""
    vehicle, costs = problem.vehicle_by_id[rows[0].vehicle], problem.costs
    finish = rows[-1].end
    total = costs.tardy * vehicle.weight * max(0, finish - vehicle.due)
    total += costs.flow * vehicle.flow_weight * (finish - vehicle.release)
    total += costs.move * count_moves(problem, rows)
    for row in rows:
        before = problem.previous_by_key.get(row.key)
        if before is not None:
            changed = (before.technician != row.technician) + (before.placement != row.placement)
            total += costs.changed_start * (before.start != row.start)
            total += costs.changed_resource * changed
    return total


def count_moves(problem: Problem, rows: Sequence[Row]) -> int:
    """Moves that take time: arriving, changing place, parking and fetching back."""
    stands = problem.vehicle_by_id[rows[0].vehicle].stands or problem.lot
    moves, parked = 0, False
    for row in rows:
        stops = [problem.lot, row.placement] if parked else [row.placement]
        for stop in stops:
            moves += problem.travel_minutes(stands, stop) > 0
            stands = stop
        parked = row.park_after
    return moves
