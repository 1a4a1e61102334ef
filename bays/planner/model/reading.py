"""From the model's answer back to rows, and from rows to hints."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from bays.planner.model.tasks import Alike, Bool, Task
from bays.planner.problem import GRID_MINUTES, Row

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder

Value = Callable[[Any], int]


def rows_of(build: Builder, value: Value) -> list[Row]:
    """The plan; units that are counted together are handed out in order of start."""
    chosen = {task.key: _row(task, value) for task in build.tasks.values()}
    people = {alike.one: alike for alike in build.alike_people}
    free: dict[str, int] = {}
    for task in sorted(build.tasks.values(), key=lambda task: chosen[task.key].start):
        row = chosen[task.key]
        if task.pin is not None:
            continue
        (person,) = _hand_out(people[row.technician], 1, row, free)
        units: list[str] = []
        for alike, literals in task.units.items():
            units += _hand_out(alike, sum(value(literal) for literal in literals), row, free)
        chosen[task.key] = replace(row, technician=person, units=tuple(units))
    return list(chosen.values())


def _hand_out(alike: Alike, count: int, row: Row, free: dict[str, int]) -> list[str]:
    """The first so many that are free by its start; the model has seen to it that there are."""
    ready = [m for m in alike.members if len(alike.members) == 1 or free.get(m, 0) <= row.start]
    free.update(dict.fromkeys(ready[:count], row.end))
    return ready[:count]


def _row(task: Task, value: Value) -> Row:
    parked = bool(task.parked is not None and value(task.parked))
    if task.pin is not None:
        return replace(task.pin, park_after=parked)
    start = value(task.start)
    return Row(
        vehicle=task.vehicle.id,
        operation=task.operation.id,
        start=start,
        end=start + value(task.minutes),
        technician=_true(task.people, value),
        second_person=_true(task.helpers, value) if task.helpers else None,
        units=(),
        placement=_true(task.places, value),
        park_after=parked,
    )


def _true(literals: dict[str, Bool], value: Value) -> str:
    return next(name for name, literal in literals.items() if value(literal))


def hint(build: Builder, rows: Iterable[Row]) -> None:
    """Tell the model a plan it can start from."""
    model = build.model
    for row in rows:
        task = build.tasks.get((row.vehicle, row.operation))
        if task is None:
            continue
        if task.parked is not None and task.parked.index > build.true.index:
            model.add_hint(task.parked, row.park_after)
        if task.cell is None:
            continue
        model.add_hint(task.cell, row.start // GRID_MINUTES)
        one = {name: alike.one for alike in build.alike_people for name in alike.members}
        for literals, name in (
            (task.people, one.get(row.technician)),
            (task.helpers, row.second_person),
            (task.places, row.placement),
        ):
            for known, literal in literals.items():
                model.add_hint(literal, known == name)
        for alike, literals_of in task.units.items():
            used = len(set(alike.members) & set(row.units))
            for number, literal in enumerate(literals_of):
                model.add_hint(literal, number < used)
