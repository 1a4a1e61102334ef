"""When each person, unit and place can be used, and the starts that leaves, apart from other plans.

Minutes are exact: an operation may start in a cell when all its minutes lie in what is open,
whether or not they fill whole cells. Pins are facts, so their people, units and zones are away
for as long as they last.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from bays.planner.problem import GRID_MINUTES, Operation, Placement, Problem, Vehicle, Window

Mask = npt.NDArray[np.bool_]
Windows = tuple[Window, ...]


def joined(windows: Iterable[Window]) -> Windows:
    """Sorted and disjoint; windows that touch become one."""
    found: list[Window] = []
    for window in sorted(windows):
        if window.start >= window.end:
            continue
        if found and window.start <= found[-1].end:
            found[-1] = Window(found[-1].start, max(found[-1].end, window.end))
        else:
            found.append(window)
    return tuple(found)


def common(first: Windows, second: Windows) -> Windows:
    """What lies in both of two disjoint sorted sequences."""
    both = (Window(max(a.start, b.start), min(a.end, b.end)) for a in first for b in second)
    return tuple(sorted(window for window in both if window.start < window.end))


def without(windows: Windows, taken: Iterable[Window]) -> Windows:
    """The windows less what is taken."""
    away = joined(taken)
    if not away or not windows:
        return windows
    edges = [Window(windows[0].start, windows[0].start), *away]
    gaps = [Window(a.end, b.start) for a, b in pairwise(edges)]
    gaps.append(Window(away[-1].end, max(away[-1].end, windows[-1].end)))
    return common(windows, joined(gaps))


def step_of(problem: Problem) -> int:
    """The grid where every minute in the problem lies on it, else 1."""
    times = [problem.move_minutes, *(m for row in problem.pins for m in (row.start, row.end))]
    times += [place.drive_minutes or 0 for place in problem.placements.values()]
    for operation in problem.operation_by_key.values():
        times += [operation.minutes, operation.shared_minutes, operation.lag]
    return GRID_MINUTES if all(minute % GRID_MINUTES == 0 for minute in times) else 1


class Openings:
    """What every resource of a problem can be used for, worked out once and kept."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cells = -(-problem.horizon // GRID_MINUTES)
        self.whole = (Window(min(0, problem.now), problem.horizon),)
        self.open = joined(problem.open)
        self._windows: dict[tuple[str, str | None, str | None], Windows] = {}
        self._starts: dict[tuple[str, str | None, str | None, int], Mask] = {}

    @cached_property
    def taken(self) -> dict[str, list[tuple[Window, str | None]]]:
        """Windows in which each resource is blocked or pinned; and the vehicle that may."""
        taken: dict[str, list[tuple[Window, str | None]]] = defaultdict(list)
        for block in self.problem.blocked:
            taken[block.resource_id].append((block.window, block.vehicle))
        for row in self.problem.pins:
            window = Window(row.start, row.end)
            for name in (row.technician, *row.units):
                taken[name].append((window, None))
            for zone in self.problem.placements[row.placement].zones:
                taken[zone].append((window, row.vehicle))
            if row.second_person is not None:
                minutes = self.problem.operation_by_key[row.key].second_person_minutes
                taken[row.second_person].append((Window(row.start, row.start + minutes), None))
        return taken

    def windows(
        self, resource: str, skill: str | None = None, vehicle: str | None = None
    ) -> Windows:
        """When the resource is there; `vehicle` is the one that is not in its own way."""
        key = (resource, skill, vehicle)
        if key not in self._windows:
            base = self._base(resource, skill)
            away = [w for w, own in self.taken.get(resource, ()) if own is None or own != vehicle]
            self._windows[key] = without(base, away)
        return self._windows[key]

    def _base(self, resource: str, skill: str | None) -> Windows:
        person = self.problem.technician_by_id.get(resource)
        if person is not None:
            there = common(joined(person.shifts), self.open)
            return there if skill is None else common(there, joined(person.skills.get(skill, ())))
        unit = self.problem.unit_by_id.get(resource)
        return without(self.whole, unit.unavailable) if unit is not None else self.whole

    def starts(
        self, resource: str, minutes: int, skill: str | None = None, vehicle: str | None = None
    ) -> Mask:
        """Cells from whose beginning the resource is there for the minutes."""
        key = (resource, skill, vehicle, minutes)
        if key not in self._starts:
            self._starts[key] = self.fits(self.windows(resource, skill, vehicle), minutes)
        return self._starts[key]

    def fits(self, windows: Windows, minutes: int) -> Mask:
        mask = np.zeros(self.cells, np.bool_)
        for start, end in windows:
            mask[
                max(0, -(-start // GRID_MINUTES)) : max(0, (end - minutes) // GRID_MINUTES + 1)
            ] = True
        return mask

    def shop(self, operation: Operation, minutes: int) -> Mask:
        """Cells in which it may start as far as opening hours, now and the operation itself go."""
        problem = self.problem
        within = common(
            self.open, (Window(max(problem.now, operation.not_before), problem.horizon),)
        )
        return self.fits(within, minutes)

    def place(self, placement: Placement, minutes: int, vehicle: Vehicle) -> Mask:
        mask = np.ones(self.cells, np.bool_)
        for zone in placement.zones:
            mask &= self.starts(zone, minutes, vehicle=vehicle.id)
        return mask

    def people(self, operation: Operation, minutes: int) -> Mask:
        """Cells in which somebody who may do it is there throughout."""
        mask = np.zeros(self.cells, np.bool_)
        for person in self.problem.technicians:
            mask |= self.starts(person.id, minutes, operation.skill)
        return mask

    def equipment(self, operation: Operation, minutes: int) -> Mask:
        """Cells in which enough units of every type and the exact ones are there throughout."""
        mask = np.ones(self.cells, np.bool_)
        for kind in set(operation.equipment):
            units = self.problem.units_by_type.get(kind, ())
            there = sum((self.starts(u, minutes).astype(np.int64) for u in units), 0)
            mask &= there >= operation.equipment.count(kind)
        for unit in operation.exact_units:
            mask &= self.starts(unit, minutes)
        return mask


def places_for(problem: Problem, vehicle: Vehicle, number: int) -> Sequence[Placement]:
    """Where an operation may be done, less what cannot be worth going to.

    `anywhere` operations are done in the lot, where the vehicle stood before, or where it goes
    next: the lot costs nothing to stay in and is never further away than other floor.
    """
    operation = vehicle.operations[number]
    pin = problem.pin_by_key.get((vehicle.id, operation.id))
    if pin is not None:
        return [problem.placements[pin.placement]]
    if not operation.anywhere:
        return [problem.placements[name] for name in dict.fromkeys(operation.placements)]
    names = {problem.lot}
    before = problem.previous_by_key.get((vehicle.id, operation.id))
    if before is not None:
        names.add(before.placement)
    for step in (-1, 1):
        names |= _near(problem, vehicle, number, step)
    return [problem.placements[n] for n in sorted(names) if problem.placements[n].kind != "road"]


def _near(problem: Problem, vehicle: Vehicle, number: int, step: int) -> set[str]:
    """Placements of the nearest operation on one side that has its own, and on the way there."""
    names: set[str] = set()
    at = number + step
    while 0 <= at < len(vehicle.operations):
        operation = vehicle.operations[at]
        key = (vehicle.id, operation.id)
        if key in problem.previous_by_key:
            names.add(problem.previous_by_key[key].placement)
        if key in problem.pin_by_key:
            return names | {problem.pin_by_key[key].placement}
        if not operation.anywhere:
            return names | set(operation.placements)
        at += step
    return names | ({vehicle.stands} if step < 0 and vehicle.stands else set())
