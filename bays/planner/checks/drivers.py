"""Whoever does an operation is there for the minutes of the drive to it as well.

Only where technicians drive. Pinned rows take nobody for longer than they last, and minutes
that are over by now are not judged.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bays.planner.answers import Rule, Violation
from bays.planner.checks.rows import covered, meets
from bays.planner.checks.travel import driving, first_stand, lot_of, travel
from bays.planner.problem import Problem, Row, Window


@dataclass(frozen=True, slots=True)
class _Taken:
    """A technician at the wheel up to the start of the row, or at work on it."""

    start: int
    end: int
    row: Row
    drives: bool


def check_drivers(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    if not problem.technicians_drive:
        return
    drives = _drives(problem, rows)
    for drive in drives:
        yield from _there(problem, drive)
    yield from _elsewhere(problem, rows, drives)


def _drives(problem: Problem, rows: Sequence[Row]) -> list[_Taken]:
    planned = {(row.vehicle, row.operation): row for row in rows}
    pinned = {(row.vehicle, row.operation) for row in problem.pins}
    found = []
    for vehicle in problem.vehicles:
        stood: str | None = first_stand(problem, vehicle)
        for operation in vehicle.operations:
            row = planned.get((vehicle.id, operation.id))
            if row is None:
                stood = None
                continue
            if (vehicle.id, operation.id) not in pinned:
                if stood is None:
                    minutes = driving(problem, row.placement)
                else:
                    minutes = travel(problem, stood, row.placement)
                start = max(problem.now, row.start - minutes)
                if start < row.start:
                    found.append(_Taken(start, row.start, row, True))
            stood = lot_of(problem) if row.park_after else row.placement
    return found


def _there(problem: Problem, drive: _Taken) -> Iterator[Violation]:
    row = drive.row
    person = next((t for t in problem.technicians if t.id == row.technician), None)
    if person is None:
        return
    if not covered(person.shifts, drive.start, row.end):
        yield _breach(row, f"{person.name} is off shift for the drive there")
    for block in problem.blocked:
        if block.resource_id == row.technician and meets([block.window], drive.start, drive.end):
            yield _breach(row, f"{person.name} cannot drive it there: {block.reason}")


def _breach(row: Row, says: str) -> Violation:
    return Violation(Rule.DRIVER, f"{row.vehicle} {row.operation}: {says}", (row,))


def _elsewhere(
    problem: Problem, rows: Sequence[Row], drives: Sequence[_Taken]
) -> Iterator[Violation]:
    """Nobody works or drives somewhere else meanwhile."""
    helps = {(v.id, o.id): o.second_person_minutes for v in problem.vehicles for o in v.operations}
    taken: dict[str, list[_Taken]] = defaultdict(list)
    for row in rows:
        taken[row.technician].append(_Taken(row.start, row.end, row, False))
        if row.second_person is not None:
            until = row.start + helps[row.vehicle, row.operation]
            taken[row.second_person].append(_Taken(row.start, until, row, False))
    for drive in drives:
        taken[drive.row.technician].append(drive)
    told: set[int] = set()  # each pair of drives once
    for drive in drives:
        told.add(id(drive))
        for other in taken[drive.row.technician]:
            if other.row is drive.row or id(other) in told:
                continue
            if meets([Window(drive.start, drive.end)], other.start, other.end):
                does = "drives" if other.drives else "is at"
                says = f"{drive.row.technician} drives {drive.row.vehicle} there and {does}"
                rule = f"{says} {other.row.vehicle} at once"
                yield Violation(Rule.DRIVER, rule, (other.row, drive.row))
