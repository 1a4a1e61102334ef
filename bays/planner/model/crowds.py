"""No more at work at once than there are people who can do it, and units of the type.

Who exactly it is follows from other rules; these say nothing new, but let the solver see sooner
that a stretch of time is too full.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations
from typing import TYPE_CHECKING

from ortools.sat.python import cp_model

from bays.planner.model.tasks import Task
from bays.planner.openings import without
from bays.planner.problem import Window

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder

MOST_SKILLS = 4


def add_crowds(build: Builder) -> None:
    tasks = [task for task in build.tasks.values() if task.cell is not None]
    busy = {
        task.key: build.model.new_fixed_size_interval_var(
            task.start, min(minutes for minutes, _ in build.lengths(task)), f"{task.name} at work"
        )
        for task in tasks
    }
    for members, skills in _teams(build, tasks).items():
        work = [(busy[task.key], 1) for task in tasks if task.operation.skill in skills]
        _limit(build, members, work)
    for kind, units in build.problem.units_by_type.items():
        work = [
            (busy[task.key], count)
            for task in tasks
            if (count := task.operation.equipment.count(kind))
        ]
        _limit(build, units, work)


def _teams(build: Builder, tasks: Iterable[Task]) -> dict[frozenset[str], set[str | None]]:
    """Everybody with any of a few skills, and the skills that nobody else has."""
    people = build.problem.technicians
    able: dict[str | None, frozenset[str]] = {
        skill: frozenset(t.id for t in people if skill is None or skill in t.skills)
        for skill in {task.operation.skill for task in tasks}
    }
    teams = {frozenset(t.id for t in people)}
    for size in range(1, MOST_SKILLS + 1):
        for chosen in combinations(able.values(), size):
            teams.add(frozenset[str]().union(*chosen))
    return {
        team: {skill for skill, members in able.items() if members <= team}
        for team in sorted(teams, key=sorted)
    }


def _limit(
    build: Builder, members: Iterable[str], work: list[tuple[cp_model.IntervalVar, int]]
) -> None:
    """Together no more than the members that are there; who is away counts as busy."""
    model, names = build.model, sorted(members)
    whole = (Window(min(0, build.problem.now), build.latest),)
    away = [
        model.new_fixed_size_interval_var(start, end - start, f"{name} away")
        for name in names
        for start, end in without(whole, build.openings.windows(name))
    ]
    demands = [count for _, count in work] + [1] * len(away)
    if work and sum(count for _, count in work) > 1:
        model.add_cumulative([*(interval for interval, _ in work), *away], demands, len(names))
