"""Rules between the rows of one vehicle: order, lags and the time moves take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bays.planner.answers import Rule, Violation
from bays.planner.problem import Operation, Problem, Row, Vehicle


def check_order(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    planned = {(row.vehicle, row.operation): row for row in rows}
    for vehicle in problem.vehicles:
        yield from _vehicle_order(problem, vehicle, planned)


def _vehicle_order(
    problem: Problem, vehicle: Vehicle, planned: dict[tuple[str, str], Row]
) -> Iterator[Violation]:
    lot = next(p.id for p in problem.placements.values() if p.kind == "lot")
    pins = {(row.vehicle, row.operation) for row in problem.pins}
    earlier: Row | None = None
    for operation in vehicle.operations:
        row = planned.get((vehicle.id, operation.id))
        if row is None:
            continue
        both_fixed = (vehicle.id, operation.id) in pins and (
            earlier is None or (vehicle.id, earlier.operation) in pins
        )
        if not both_fixed:
            yield from _follows(problem, vehicle, operation, earlier, row, lot)
        earlier = row


def _follows(
    problem: Problem,
    vehicle: Vehicle,
    operation: Operation,
    earlier: Row | None,
    row: Row,
    lot: str,
) -> Iterator[Violation]:
    if earlier is None:
        ready, travel = vehicle.release, _travel(problem, lot, row.placement)
    elif earlier.park_after:
        ready = earlier.end
        travel = _travel(problem, earlier.placement, lot) + _travel(problem, lot, row.placement)
    else:
        ready, travel = earlier.end, _travel(problem, earlier.placement, row.placement)
    soonest = ready + max(travel, operation.lag)
    if row.start < soonest:
        says = f"{row.vehicle} {row.operation}: starts {soonest - row.start} minutes too early"
        yield Violation(Rule.ORDER, says, (row,) if earlier is None else (earlier, row))


def _travel(problem: Problem, start: str, end: str) -> int:
    if start == end or problem.placements[start].kind == "road":
        return 0
    return 0 if problem.placements[end].kind == "road" else problem.move_minutes
