"""When a vehicle can drive to an operation and away from it through zones that are not its own."""

from __future__ import annotations

from dataclasses import dataclass

from bays.planner.calendar import Calendar, cells_touched
from bays.planner.problem import Operation, Placement, Row


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a vehicle is, and the minute its last operation ended (at first: its release).

    Where a vehicle stands at its release is not `kept` for it by the plan: it has no row there.
    `row` is that of the operation directly before.
    """

    placement: str
    ready: int
    kept: bool = True
    row: Row | None = None


def ways_clear(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    placement: Placement,
    park: bool,
    leaves: bool,
) -> int:
    """Cells in which the operation may start as far as the zones driven through go."""
    problem = calendar.problem
    stood, mask = problem.placements[standing.placement], -1
    drive_in = problem.drive_minutes(placement.id)
    if park or stood.id != placement.id:
        for zone in placement.crosses:
            mask &= calendar.clear_at(zone, -drive_in, 0)
        if park and not may_leave(calendar, standing, standing.ready):
            return 0
        gap = problem.travel_minutes(stood.id, placement.id)
        drive_out = problem.drive_minutes(stood.id)
        for zone in () if park else stood.crosses:
            mask &= calendar.clear_at(zone, -gap, drive_out - gap)
    if leaves:
        for zone in placement.crosses:
            mask &= calendar.clear_at(zone, operation.minutes, operation.minutes + drive_in)
    return mask


def may_leave(calendar: Calendar, standing: Standing, minute: int) -> bool:
    """Whether the way out is free at a minute; what is over by now hinders nobody."""
    problem = calendar.problem
    ends = minute + problem.drive_minutes(standing.placement)
    touched = cells_touched(max(minute, problem.now), ends) if ends > problem.now else 0
    crossed = problem.placements[standing.placement].crosses
    return all(calendar.free[zone] & touched == touched for zone in crossed)
