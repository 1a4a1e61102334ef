"""Rules that one row meets or breaks by itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from bays.planner.answers import Rule, Violation
from bays.planner.problem import Operation, Problem, Row, Window


def check_rows(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    """Each operation planned once; each row allowed by itself."""
    counts = Counter((row.vehicle, row.operation) for row in rows)
    operations = {(v.id, o.id): o for v in problem.vehicles for o in v.operations}
    pins = {(row.vehicle, row.operation): row for row in problem.pins}
    for key, operation in operations.items():
        if key not in counts:
            yield Violation(Rule.MISSING, f"{key[0]}: {operation.name} is not planned")
    for row in rows:
        key = (row.vehicle, row.operation)
        known = operations.get(key)
        if known is None or row.placement not in problem.placements:
            yield _breach(Rule.UNKNOWN, row, "no such vehicle, operation or placement")
            continue
        if counts[key] > 1:
            yield _breach(Rule.TWICE, row, "planned more than once")
        if key in pins:
            yield from _pinned(row, pins[key])
        else:
            yield from _free(problem, row, known)


def _breach(rule: Rule, row: Row, says: str) -> Violation:
    return Violation(rule, f"{row.vehicle} {row.operation}: {says}", (row,))


def _pinned(row: Row, pin: Row) -> Iterator[Violation]:
    same = (
        (row.start, row.end, row.technician, row.second_person, row.placement)
        == (pin.start, pin.end, pin.technician, pin.second_person, pin.placement)
    ) and sorted(row.units) == sorted(pin.units)
    if not same:
        yield _breach(Rule.PIN_MOVED, row, "differs from what is fixed")


def _free(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    if row.start < problem.now:
        yield _breach(Rule.BEFORE_NOW, row, "starts before now")
    if row.start < operation.not_before:
        early = operation.not_before - row.start
        yield _breach(Rule.WAITING, row, f"starts {early} minutes before what it waits for")
    if row.end > problem.horizon:
        yield _breach(Rule.HORIZON, row, "ends after the horizon")
    if not covered(problem.open, row.start, row.end):
        yield _breach(Rule.CLOSED, row, "the shop is closed")
    yield from _place(problem, row, operation)
    yield from _technician(problem, row, operation)
    yield from _second_person(problem, row, operation)
    yield from _equipment(problem, row, operation)
    yield from _blocks(problem, row, operation)


def _place(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    kind = problem.placements[row.placement].kind
    allowed = kind != "road" if operation.anywhere else row.placement in operation.placements
    if not allowed:
        yield _breach(Rule.PLACEMENT, row, f"may not be done in {row.placement}")


def _technician(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    person = next((t for t in problem.technicians if t.id == row.technician), None)
    if person is None:
        yield _breach(Rule.TECHNICIAN, row, f"no technician {row.technician}")
        return
    if not covered(person.shifts, row.start, row.end):
        yield _breach(Rule.OFF_SHIFT, row, f"{person.name} is off shift")
    if operation.skill is not None:
        valid = person.skills.get(operation.skill, ())
        if not covered(valid, row.start, row.end):
            yield _breach(Rule.SKILL, row, f"{person.name} may not do {operation.skill} then")


def _second_person(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    needed = operation.second_person_minutes
    if not needed and row.second_person is None:
        return
    person = next((t for t in problem.technicians if t.id == row.second_person), None)
    if not needed:
        yield _breach(Rule.SECOND_PERSON, row, "has a second person and needs none")
    elif person is None or person.id == row.technician:
        yield _breach(Rule.SECOND_PERSON, row, "has no second person")
    elif not covered(person.shifts, row.start, row.start + needed):
        yield _breach(Rule.OFF_SHIFT, row, f"{person.name} is off shift")


def _equipment(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    units = {unit.id: unit for unit in problem.units}
    chosen = list(row.units)
    for name in operation.exact_units:
        if name in chosen:
            chosen.remove(name)
        else:
            yield _breach(Rule.UNITS, row, f"has {row.units}, needs {name}")
    types = sorted(units[name].type if name in units else "?" for name in chosen)
    if types != sorted(operation.equipment) or len(set(row.units)) != len(row.units):
        yield _breach(Rule.UNITS, row, f"has {row.units}, needs {operation.equipment}")
    for name in row.units:
        if name in units and meets(units[name].unavailable, row.start, row.end):
            yield _breach(Rule.UNAVAILABLE, row, f"{units[name].label} is out of service")


def _blocks(problem: Problem, row: Row, operation: Operation) -> Iterator[Violation]:
    """People and units while they work; zones, held on after the end, are in the books."""
    used = dict.fromkeys((row.technician, *row.units), row.end)
    if row.second_person is not None:
        used[row.second_person] = row.start + operation.second_person_minutes
    for block in problem.blocked:
        until = used.get(block.resource_id)
        if until is not None and meets([block.window], row.start, until):
            yield _breach(Rule.BLOCKED, row, f"{block.resource_id}: {block.reason}")


def covered(windows: Iterable[Window], start: int, end: int) -> bool:
    """Whether windows cover start..end without a break; ones that touch count as one."""
    reached = start
    for window in sorted(windows):
        if window.start <= reached < window.end:
            reached = window.end
    return reached >= end


def meets(windows: Iterable[Window], start: int, end: int) -> bool:
    return any(window.start < end and start < window.end for window in windows)
