"""Which rows a repair may touch, so that it stays small."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bays.planner.holding import rows_by_vehicle
from bays.planner.problem import OperationKey, Problem, Row

# With so few vehicles everything may move; a person still takes in the difference.
FEW_VEHICLES = 15
# Beyond that no more rows than these may come out differently than they were; a shop with a
# week of work ahead takes twice as many.
MOST_ROWS, MANY_VEHICLES = 15, 100


def movable(
    problem: Problem, before: Sequence[Row], after: Sequence[Row], fixed: frozenset[OperationKey]
) -> frozenset[OperationKey]:
    """Rows of the repaired plan that may move once more.

    Those of vehicles the repair has touched, and then of vehicles that use the same people, units
    and floor about then, most in common first, as long as the changes stay few.
    """
    free = [row for row in after if row.key not in fixed]
    if len(problem.vehicles) <= FEW_VEHICLES:
        return frozenset(row.key for row in free)
    old = {row.key: row for row in before}
    changed = [row for row in free if old.get(row.key) != row]
    touched = {row.vehicle for row in changed}
    groups = rows_by_vehicle(free)
    chosen = {row.key for vehicle in touched for row in groups[vehicle]}
    traces = [*changed, *(old[row.key] for row in changed if row.key in old)]
    others = sorted(
        (vehicle for vehicle in groups if vehicle not in touched),
        key=lambda vehicle: (-_in_common(problem, groups[vehicle], traces), vehicle),
    )
    most = MOST_ROWS * (2 if len(problem.vehicles) > MANY_VEHICLES else 1)
    for vehicle in others:
        keys = {row.key for row in groups[vehicle]}
        if len(chosen | keys) > most:
            break
        chosen |= keys
    return frozenset(chosen)


def _in_common(problem: Problem, rows: Iterable[Row], traces: Iterable[Row]) -> int:
    """How many minutes of people, units and zones two sets of rows both want."""
    return sum(
        max(0, min(row.end, trace.end) - max(row.start, trace.start))
        for row in rows
        for trace in traces
        if _resources(problem, row) & _resources(problem, trace)
    )


def _resources(problem: Problem, row: Row) -> set[str]:
    return {row.technician, *row.units, *problem.placements[row.placement].zones}
