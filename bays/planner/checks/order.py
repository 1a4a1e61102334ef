"""Rules between the rows of one vehicle: order, lags and the time moves take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bays.planner.answers import Rule, Violation
from bays.planner.checks.travel import first_stand, lot_of, travel
from bays.planner.problem import Operation, Problem, Row, Vehicle


def check_order(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    planned = {(row.vehicle, row.operation): row for row in rows}
    for vehicle in problem.vehicles:
        yield from _vehicle_order(problem, vehicle, planned)


def _vehicle_order(
    problem: Problem, vehicle: Vehicle, planned: dict[tuple[str, str], Row]
) -> Iterator[Violation]:
    lot = lot_of(problem)
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
        ready = vehicle.release
        moving = travel(problem, first_stand(problem, vehicle), row.placement)
    elif earlier.park_after:
        ready = earlier.end
        moving = travel(problem, earlier.placement, lot) + travel(problem, lot, row.placement)
    else:
        ready, moving = earlier.end, travel(problem, earlier.placement, row.placement)
    soonest = ready + max(moving, operation.lag)
    if row.start < soonest:
        says = f"{row.vehicle} {row.operation}: starts {soonest - row.start} minutes too early"
        yield Violation(Rule.ORDER, says, (row,) if earlier is None else (earlier, row))
