"""Rules between rows that use the same technician, unit or zone."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bays.planner.answers import Rule, Violation
from bays.planner.checks.travel import travel
from bays.planner.problem import Problem, Row


@dataclass(frozen=True, slots=True)
class _Entry:
    start: int
    end: int
    row: Row
    fixed_until: int  # the part that is a fact: a pinned row from its start to its end


def check_double_booking(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    """Nothing is used twice at a time, and no zone is stood on while it is blocked."""
    pins = {(row.vehicle, row.operation) for row in problem.pins}
    people_and_units: dict[str, list[_Entry]] = defaultdict(list)
    zones: dict[str, list[_Entry]] = defaultdict(list)
    for row, leaves in departures(problem, rows):
        fixed = (row.vehicle, row.operation) in pins
        fact = row.end if fixed else row.start
        for name in (row.technician, *row.units):
            people_and_units[name].append(_Entry(row.start, row.end, row, fact))
        if row.second_person is not None:
            ends = row.start + _second_minutes(problem, row)
            people_and_units[row.second_person].append(
                _Entry(row.start, ends, row, ends if fixed else row.start)
            )
        for zone in problem.placements[row.placement].zones:
            zones[zone].append(_Entry(row.start, leaves, row, fact))
    for name, entries in (*people_and_units.items(), *zones.items()):
        yield from _overlaps(name, entries)
    yield from _on_blocked_floor(problem, zones)


def departures(problem: Problem, rows: Sequence[Row]) -> Iterator[tuple[Row, int]]:
    """Each row and the minute its vehicle clears the zones it stood on."""
    planned = {(row.vehicle, row.operation): row for row in rows}
    for vehicle in problem.vehicles:
        for number, operation in enumerate(vehicle.operations):
            row = planned.get((vehicle.id, operation.id))
            if row is None:
                continue
            leaves = row.end
            if number + 1 < len(vehicle.operations) and not row.park_after:
                after = planned.get((vehicle.id, vehicle.operations[number + 1].id))
                if after is not None:
                    leaves = max(
                        leaves, after.start - travel(problem, row.placement, after.placement)
                    )
            yield row, leaves


def _second_minutes(problem: Problem, row: Row) -> int:
    return next(
        operation.second_person_minutes
        for vehicle in problem.vehicles
        if vehicle.id == row.vehicle
        for operation in vehicle.operations
        if operation.id == row.operation
    )


def _overlaps(name: str, entries: list[_Entry]) -> Iterator[Violation]:
    active: list[_Entry] = []
    for entry in sorted(entries, key=lambda e: (e.start, e.end)):
        if entry.start >= entry.end:
            continue
        active = [other for other in active if other.end > entry.start]
        for other in active:
            until = min(other.end, entry.end)
            if until > min(other.fixed_until, entry.fixed_until):
                says = f"{name} is taken by {other.row.vehicle} and {entry.row.vehicle} at once"
                yield Violation(Rule.DOUBLE_BOOKED, says, (other.row, entry.row))
        active.append(entry)


def _on_blocked_floor(problem: Problem, zones: dict[str, list[_Entry]]) -> Iterator[Violation]:
    for block in problem.blocked:
        start, end = block.window
        for entry in zones.get(block.resource_id, ()):
            own = block.vehicle == entry.row.vehicle
            if not own and max(entry.start, entry.fixed_until, start) < min(entry.end, end):
                says = f"{entry.row.vehicle} {entry.row.operation}: {block.reason}"
                yield Violation(Rule.BLOCKED, f"{says} ({block.resource_id})", (entry.row,))
