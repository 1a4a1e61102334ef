"""Whose every zone is, and when: no two vehicles on one, and none driven through while taken."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from ortools.sat.python import cp_model

from bays.planner.model.crossings import Piece
from bays.planner.model.people import free_interval
from bays.planner.model.tasks import Bool, Task
from bays.planner.openings import joined

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder

Interval = cp_model.IntervalVar


def add_floor(build: Builder) -> dict[str, list[Piece]]:
    """Returns what stands on each zone."""
    pieces: dict[str, list[Piece]] = defaultdict(list)
    zones: dict[str, list[Interval]] = defaultdict(list)
    for task in build.tasks.values():
        for zone, literals in _zones(build, task).items():
            stands = build.either(literals)
            name = f"{task.name} on {zone}"
            if task.pin is not None:
                fact = Piece(task.vehicle.id, task.start, task.end, stands, False, True)
                pieces[zone].append(fact)
            if task.pin is None:
                start = task.start
            elif task.last:
                continue
            else:
                start = task.pin.end
            zones[zone].append(free_interval(build, start, task.leaves, stands, name))
            pieces[zone].append(Piece(task.vehicle.id, start, task.leaves, stands, False))
            _keep_off(build, task, zone, stands)
    for zone, intervals in zones.items():
        closed = [window for window, own in build.openings.taken.get(zone, ()) if own is None]
        fixed = [
            build.model.new_fixed_size_interval_var(w.start, w.end - w.start, f"{zone} closed")
            for w in joined(closed)
        ]
        build.model.add_no_overlap([*intervals, *fixed])
    return pieces


def _zones(build: Builder, task: Task) -> dict[str, list[Bool]]:
    found: dict[str, list[Bool]] = defaultdict(list)
    for name, literal in task.places.items():
        for zone in build.problem.placements[name].zones:
            found[zone].append(literal)
    return found


def _keep_off(build: Builder, task: Task, zone: str, stands: Bool) -> None:
    """Windows in which only one vehicle may be on the zone, which is another one."""
    owned = [w for w, own in build.openings.taken.get(zone, ()) if own is not None
             and own != task.vehicle.id]  # fmt: skip
    start = task.start if task.pin is None else task.pin.end
    for number, window in enumerate(joined(owned)):
        before = build.model.new_bool_var(f"{task.name} off {zone} before {number}")
        build.model.add(task.leaves <= window.start).only_enforce_if(stands, before)
        build.model.add(start >= window.end).only_enforce_if(stands, before.negated())
