"""How long each operation takes: its own minutes, or less where its set-up stands already."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bays.planner.answers import Rule, Violation
from bays.planner.problem import Operation, Problem, Row


def check_lengths(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    """Pinned rows are facts and last as long as they last."""
    planned = {(row.vehicle, row.operation): row for row in rows}
    pinned = {(row.vehicle, row.operation) for row in problem.pins}
    for vehicle in problem.vehicles:
        before: tuple[Operation, Row] | None = None
        for operation in vehicle.operations:
            row = planned.get((vehicle.id, operation.id))
            if row is not None and (vehicle.id, operation.id) not in pinned:
                yield from _length(operation, row, before)
            before = None if row is None else (operation, row)


def _length(
    operation: Operation, row: Row, before: tuple[Operation, Row] | None
) -> Iterator[Violation]:
    lasts, name = row.end - row.start, f"{row.vehicle} {row.operation}"
    if before is not None and _goes_on(operation, row, *before):
        least = operation.minutes - operation.shared_minutes
        if lasts != least:
            says = f"{name}: lasts {lasts} minutes, not {least} with its set-up shared"
            yield Violation(Rule.SHARED_SET_UP, says, (row,))
    elif lasts != operation.minutes:
        says = f"{name}: lasts {lasts} minutes, not {operation.minutes}"
        shared = lasts == operation.minutes - operation.shared_minutes
        yield Violation(Rule.SHARED_SET_UP if shared else Rule.DURATION, says, (row,))


def _goes_on(operation: Operation, row: Row, earlier: Operation, before: Row) -> bool:
    """It begins the minute the one before ends, same place, same units, same set-up, no wait."""
    return (
        operation.set_up != ""
        and operation.set_up == earlier.set_up
        and operation.lag == 0
        and row.start == before.end
        and row.placement == before.placement
        and not before.park_after
        and set(row.units) == set(before.units)
    )
