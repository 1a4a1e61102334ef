"""Starts from which the next row of the vehicle, fixed already, is still reached in time."""

from __future__ import annotations

from typing import NamedTuple

from bays.planner.calendar import Calendar, cell_at_or_after, cell_span
from bays.planner.moves import Standing, may_leave
from bays.planner.problem import GRID_MINUTES, Placement, Row


class Meeting(NamedTuple):
    """The fixed row directly after, and the minutes that its operation waits after this one."""

    row: Row
    lag: int


def in_time(calendar: Calendar, minutes: int, place: Placement, meeting: Meeting) -> int:
    """Cells in which an operation of so many minutes may start there."""
    problem, (row, lag) = calendar.problem, meeting
    gap = problem.travel_minutes(place.id, row.placement)
    mask = 0
    if not gap or may_leave(calendar, Standing(place.id, row.end), row.start - gap):
        first = _kept_from(calendar, place, row.start - gap)
        mask = _up_to(row.start - max(gap, lag) - minutes) >> first << first
    if place.zones:
        there = problem.travel_minutes(place.id, problem.lot)
        back = problem.travel_minutes(problem.lot, row.placement)
        parked = _up_to(row.start - max(there + back, lag) - minutes)
        out = problem.drive_minutes(place.id)
        for zone in place.crosses:
            parked &= calendar.clear_at(zone, minutes, minutes + out)
        mask |= parked
    return mask


def _up_to(minute: int) -> int:
    return cell_span(0, minute // GRID_MINUTES + 1)


def _kept_from(calendar: Calendar, place: Placement, minute: int) -> int:
    """The cell from which the place is free for the vehicle up to a minute."""
    stop = max(0, cell_at_or_after(minute))
    whole = free = cell_span(0, stop)
    for zone in place.zones:
        free &= calendar.free[zone]
    return (whole & ~free).bit_length()
