"""Who does each operation and with what: nobody and nothing in two places at once."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from ortools.sat.python import cp_model

from bays.planner.model.tasks import Alike, Bool, Expr, Task
from bays.planner.openings import Openings, joined, without
from bays.planner.problem import Technician, Window

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder

Interval = cp_model.IntervalVar


def alike_units(openings: Openings) -> dict[str, list[Alike]]:
    """Units of each type, those that are there at the same times together.

    Units that operations ask for by name, or hand on with their set-up, stay single.
    """
    problem = openings.problem
    operations = problem.operation_by_key.values()
    single = {unit for operation in operations for unit in operation.exact_units}
    handed = {kind for o in operations if o.set_up and o.shared_minutes for kind in o.equipment}
    found = {}
    for kind, units in problem.units_by_type.items():
        groups: dict[object, list[str]] = defaultdict(list)
        for unit in units:
            alone = unit if unit in single or kind in handed else ""
            groups[openings.windows(unit), alone].append(unit)
        found[kind] = [Alike(tuple(members)) for members in groups.values()]
    return found


def alike_people(openings: Openings) -> list[Alike]:
    """People with the same skills at the same times together, where it is all one who it is.

    It is not where somebody drives or lends a hand, or where a change of person costs something.
    """
    problem = openings.problem
    operations = problem.operation_by_key.values()
    single = problem.technicians_drive or any(o.second_person_minutes for o in operations)
    known = {row.technician for row in problem.previous}
    skills = sorted({o.skill for o in operations if o.skill})
    groups: dict[object, list[str]] = defaultdict(list)
    for person in problem.technicians:
        there = tuple(openings.windows(person.id, skill) for skill in (None, *skills))
        groups[there, person.id if single or person.id in known else ""].append(person.id)
    return [Alike(tuple(members)) for members in groups.values()]


def add_people(build: Builder) -> None:
    taken: dict[str, list[Interval]] = defaultdict(list)
    for task in build.tasks.values():
        if task.pin is None and task.cell is not None:
            _lead(build, task, taken)
            _help(build, task, taken)
    for alike in build.alike_people:
        intervals = taken[alike.one]
        if len(alike.members) == 1:
            build.model.add_no_overlap([*intervals, *_away(build, alike.one)])
        elif len(alike.members) < len(build.problem.vehicles):
            build.model.add_cumulative(intervals, [1] * len(intervals), len(alike.members))


def _away(build: Builder, person: str) -> list[Interval]:
    """Where technicians drive, the minutes in which this one is not there to do it."""
    if not build.problem.technicians_drive:
        return []
    technician = build.problem.technician_by_id[person]
    there = without(
        joined(technician.shifts), (window for window, _ in build.openings.taken.get(person, ()))
    )
    whole = (Window(min(0, build.problem.now), build.latest),)
    return [
        build.model.new_fixed_size_interval_var(start, end - start, f"{person} away")
        for start, end in without(whole, there)
    ]


def _lead(build: Builder, task: Task, taken: dict[str, list[Interval]]) -> None:
    model = build.model
    for alike in build.alike_people:
        person = build.problem.technician_by_id[alike.one]
        if not any(
            build.openings.starts(person.id, minutes, task.operation.skill).any()
            for minutes, _ in build.lengths(task)
        ):
            continue
        literal = model.new_bool_var(f"{task.name} by {person.id}")
        task.people[person.id] = literal
        _while_there(build, task, person, literal)
        taken[person.id].append(_lead_interval(build, task, person, literal))
    model.add_exactly_one(task.people.values())


def _while_there(build: Builder, task: Task, person: Technician, literal: Bool) -> None:
    for minutes, when in build.lengths(task):
        mask = build.openings.starts(person.id, minutes, task.operation.skill)
        build.within(task, mask, [literal, *when])


def _lead_interval(build: Builder, task: Task, person: Technician, literal: Bool) -> Interval:
    name = f"{person.id} at {task.name}"
    if build.problem.technicians_drive:
        begins = build.not_before_now(task.start - task.drive)
        return free_interval(build, begins, task.end, literal, name)
    return build.model.new_optional_interval_var(task.start, task.minutes, task.end, literal, name)


def _help(build: Builder, task: Task, taken: dict[str, list[Interval]]) -> None:
    """Another technician on shift, of any skill, for the first minutes."""
    minutes = task.operation.second_person_minutes
    if not minutes:
        return
    model = build.model
    for person in build.problem.technicians:
        mask = build.openings.starts(person.id, minutes)
        if not mask.any():
            continue
        literal = model.new_bool_var(f"{task.name} helped by {person.id}")
        task.helpers[person.id] = literal
        build.within(task, mask, [literal])
        if person.id in task.people:
            model.add_at_most_one(literal, task.people[person.id])
        interval = model.new_optional_fixed_size_interval_var(
            task.start, minutes, literal, f"{person.id} helps {task.name}"
        )
        taken[person.id].append(interval)
    model.add_exactly_one(task.helpers.values())


def add_units(build: Builder) -> None:
    taken: dict[Alike, list[tuple[Interval, int]]] = defaultdict(list)
    for task in build.tasks.values():
        if task.pin is None and task.cell is not None:
            for kind in sorted({*task.operation.equipment, *_exact_types(build, task)}):
                _choose(build, task, kind, taken)
    for alike, uses in taken.items():
        if len(alike.members) == 1:
            build.model.add_no_overlap([interval for interval, _ in uses])
        else:
            demands = [demand for _, demand in uses]
            build.model.add_cumulative([i for i, _ in uses], demands, len(alike.members))


def _exact_types(build: Builder, task: Task) -> list[str]:
    return [build.problem.unit_by_id[name].type for name in task.operation.exact_units]


def _choose(
    build: Builder,
    task: Task,
    kind: str,
    taken: dict[Alike, list[tuple[Interval, int]]],
) -> None:
    """As many units of a type as it needs, the ones it names among them."""
    model, exact = build.model, set(task.operation.exact_units)
    needed = task.operation.equipment.count(kind) + _exact_types(build, task).count(kind)
    counts: list[Expr] = []
    for alike in build.alike_units.get(kind, ()):
        for copy in range(min(needed, len(alike.members))):
            literal = model.new_bool_var(f"{task.name} with {alike.one} {copy}")
            build.use(task, alike, literal)
            for minutes, when in build.lengths(task):
                build.within(task, build.openings.starts(alike.one, minutes), [literal, *when])
            interval = model.new_optional_interval_var(
                task.start, task.minutes, task.end, literal, f"{alike.one} {copy} at {task.name}"
            )
            taken[alike].append((interval, 1))
            counts.append(literal)
        if exact & set(alike.members):
            model.add(task.units[alike][0] == 1)
    model.add(sum(counts) == needed)


def free_interval(build: Builder, start: Expr, end: Expr, literal: Bool, name: str) -> Interval:
    """An interval that may be empty: from `start` until `end`."""
    size = build.minute(f"{name} lasts", 0, build.latest)
    return build.model.new_optional_interval_var(start, size, end, literal, name)
