"""Build the model: variables of every operation, then what ties them together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from ortools.sat.python import cp_model

from bays.planner.model.crossings import add_crossings
from bays.planner.model.crowds import add_crowds
from bays.planner.model.floor import add_floor
from bays.planner.model.people import add_people, add_units, alike_people, alike_units
from bays.planner.model.tasks import Alike, Bool, Expr, Task
from bays.planner.model.ways import add_ways, share_set_up
from bays.planner.openings import Mask, Openings, places_for, step_of
from bays.planner.problem import GRID_MINUTES, OperationKey, Placement, Problem, Vehicle

# Moves through each other's way are told apart pair by pair; more than this is not worth trying.
MOST_PAIRS = 40_000


class TooLargeError(Exception):
    """The model would have more pairs of crossing moves than can be solved."""


Allowed = Mapping[tuple[OperationKey, str], Mask]


class Builder:
    """One model of one problem. `allowed` narrows where each operation may start, by placement."""

    def __init__(self, problem: Problem, allowed: Allowed | None = None) -> None:
        self.problem = problem
        self.allowed = allowed or {}
        self.openings = Openings(problem)
        self.model = cp_model.CpModel()
        self.tasks: dict[OperationKey, Task] = {}
        self.no_start: OperationKey | None = None
        self.alike_units = alike_units(self.openings)
        self.alike_people = alike_people(self.openings)
        self.step = step_of(problem)
        self.pairs = 0
        self.late: dict[str, cp_model.IntVar] = {}
        self.latest = max([problem.horizon, *(row.end for row in problem.pins)])
        self._true = self.model.new_constant(1)

    @property
    def true(self) -> Bool:
        return self._true

    @property
    def false(self) -> Bool:
        return self._true.negated()

    def either(self, literals: Sequence[Bool]) -> Bool:
        """A literal for one of several of which at most one is true."""
        if len(literals) == 1:
            return literals[0]
        found = self.model.new_bool_var("either")
        self.model.add(found == sum(literals))
        return found

    def both(self, first: Bool, second: Bool) -> Bool:
        """A literal that is true where both are."""
        found = self.model.new_bool_var("both")
        self.model.add_bool_or(first.negated(), second.negated(), found)
        return found

    def later_of(self, first: Expr, second: Expr) -> Expr:
        found = self.minute("later", min(0, self.problem.now), self.latest)
        self.model.add_max_equality(found, [first, second])
        return found

    def not_before_now(self, start: Expr) -> Expr:
        """What is left of it from now on."""
        return self.later_of(start, self.problem.now)

    def count_pair(self) -> None:
        self.pairs += 1
        if self.pairs > MOST_PAIRS:
            raise TooLargeError

    def use(self, task: Task, alike: Alike, literal: Bool) -> None:
        task.units.setdefault(alike, []).append(literal)

    def build(self) -> None:
        for vehicle in self.problem.vehicles:
            own = [self._task(vehicle, number) for number in range(len(vehicle.operations))]
            for task in own:
                self.tasks[task.key] = task
        for vehicle in self.problem.vehicles:
            add_ways(self, [self.tasks[vehicle.id, o.id] for o in vehicle.operations])
        add_people(self)
        add_units(self)
        for vehicle in self.problem.vehicles:
            share_set_up(self, [self.tasks[vehicle.id, o.id] for o in vehicle.operations])
        add_crowds(self)
        standing = add_floor(self)
        if self.problem.has_crossings:
            add_crossings(self, standing)

    def _task(self, vehicle: Vehicle, number: int) -> Task:
        operation = vehicle.operations[number]
        pin = self.problem.pin_by_key.get((vehicle.id, operation.id))
        task = Task(vehicle, number, operation, pin)
        if pin is not None:
            task.start, task.minutes = pin.start, pin.end - pin.start
            task.places = {pin.placement: self.true}
            return task
        task.minutes = operation.minutes
        if self._may_share(task):
            task.shared = self.model.new_bool_var(f"shared {task.name}")
            task.minutes = operation.minutes - operation.shared_minutes * task.shared
        self._place(task)
        return task

    def _may_share(self, task: Task) -> bool:
        operation, number = task.operation, task.number
        if not number or not operation.set_up or not operation.shared_minutes or operation.lag:
            return False
        return task.vehicle.operations[number - 1].set_up == operation.set_up

    def lengths(self, task: Task) -> list[tuple[int, list[Bool]]]:
        """How long the operation may last and the literals under which it does."""
        minutes = task.operation.minutes
        if task.shared is None:
            return [(minutes, [])]
        shorter = minutes - task.operation.shared_minutes
        return [(minutes, [task.shared.negated()]), (shorter, [task.shared])]

    def _place(self, task: Task) -> None:
        """Start and placement variables with everything that only depends on both."""
        masks = {}
        for placement in places_for(self.problem, task.vehicle, task.number):
            mask = self._starts(task, placement)
            if mask.any():
                masks[placement.id] = mask
        if not masks:
            self.no_start = self.no_start or task.key
            return
        union = np.logical_or.reduce(list(masks.values()))
        task.cell = self.model.new_int_var_from_domain(domain(union), f"cell {task.name}")
        task.start = GRID_MINUTES * task.cell
        for name, mask in masks.items():
            literal = self.model.new_bool_var(f"{task.name} in {name}")
            task.places[name] = literal
            if (mask != union).any():
                self.within(task, mask, [literal])
        self.model.add_exactly_one(task.places.values())

    def _starts(self, task: Task, placement: Placement) -> Mask:
        openings, operation = self.openings, task.operation
        mask = np.zeros(openings.cells, np.bool_)
        for minutes, _ in self.lengths(task):
            here = openings.shop(operation, minutes) & openings.people(operation, minutes)
            here &= openings.equipment(operation, minutes)
            mask |= here & openings.place(placement, minutes, task.vehicle)
        narrowed = self.allowed.get((task.key, placement.id))
        return mask if narrowed is None else mask & narrowed

    def within(self, task: Task, mask: Mask, literals: Iterable[Bool]) -> None:
        """Under the literals it starts in a cell of the mask."""
        assert task.cell is not None
        chosen = domain(mask)
        self.model.add_linear_expression_in_domain(task.cell, chosen).only_enforce_if(*literals)

    def minute(self, name: str, low: int, high: int) -> Expr:
        """A minute; one of every five where nothing in the problem lies between them."""
        step = self.step
        return step * self.model.new_int_var(low // step, -(-high // step), name)


def domain(mask: Mask) -> cp_model.Domain:
    return cp_model.Domain.from_values(np.flatnonzero(mask).tolist())
