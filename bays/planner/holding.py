"""What rows hold and for how long, as the planners reckon it (the verifier has its own)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import NamedTuple

from bays.planner.problem import Problem, Row


class Hold(NamedTuple):
    """One resource taken by one row, in minutes."""

    resource: str
    start: int
    end: int
    row: Row


def rows_by_vehicle(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rows of each vehicle in order of their start."""
    grouped: dict[str, list[Row]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row.start, row.end)):
        grouped[row.vehicle].append(row)
    return grouped


def leaves_at(problem: Problem, row: Row, following: Row | None) -> int:
    """The minute the vehicle lets go of the row's zones.

    It stays until its next operation starts there or it sets off for another placement; it
    leaves at the row's end when it is parked or done.
    """
    if following is None or row.park_after:
        return row.end
    gap = problem.travel_minutes(row.placement, following.placement)
    return max(row.end, following.start - gap)


def holds(problem: Problem, rows: Iterable[Row]) -> Iterator[Hold]:
    """Everything the rows of one vehicle hold.

    A place is held on to the next row only when that row is the very next operation: with
    an unplanned one in between nobody knows yet where the vehicle will wait.
    """
    ordered = sorted(rows, key=lambda row: (row.start, row.end))
    if not ordered:
        return
    numbers = {o.id: n for n, o in enumerate(problem.vehicle_by_id[ordered[0].vehicle].operations)}
    for row, following in pairwise([*ordered, None]):
        if row is None:
            continue
        adjoining = following is not None and (
            numbers[following.operation] == numbers[row.operation] + 1
        )
        leaves = leaves_at(problem, row, following if adjoining else None)
        yield from _row_holds(problem, row, leaves)


def _row_holds(problem: Problem, row: Row, leaves: int) -> Iterator[Hold]:
    yield Hold(row.technician, row.start, row.end, row)
    if row.second_person is not None:
        needed = problem.operation_by_key[row.key].second_person_minutes
        yield Hold(row.second_person, row.start, row.start + needed, row)
    for unit in row.units:
        yield Hold(unit, row.start, row.end, row)
    for zone in problem.placements[row.placement].zones:
        yield Hold(zone, row.start, leaves, row)
