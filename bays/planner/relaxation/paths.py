"""Every way one vehicle can go through its operations, as arrays for the compiled search.

A state is an operation in a group of placements that nothing tells apart; its static cost is
given for every start cell. A step leads from a state to one of the next operation, by staying,
by moving, or by way of the lot.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from bays.planner.openings import Openings, places_for
from bays.planner.problem import GRID_MINUTES, Operation, Problem, Row, Vehicle
from bays.planner.relaxation.pools import Pools, Uses

Costs = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
NEVER = 1e15
WINDOW_CELLS = 2 * 1440 // GRID_MINUTES


class Step(NamedTuple):
    """From a state to a later one: earliest start after, hold until, moves' cost, holds or not."""

    source: int
    target: int
    after: int
    leaves: int
    cost: float
    holds: int


@dataclass(frozen=True, slots=True)
class Group:
    """Placements that differ in nothing a vehicle's way depends on."""

    placements: tuple[str, ...]
    uses: Uses

    @property
    def one(self) -> str:
        return self.placements[0]


@dataclass(slots=True)
class Ways:
    """The arrays; `first_*` give where each vehicle's or operation's part begins."""

    signatures: list[Uses] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)
    first_operation: list[int] = field(default_factory=lambda: [0])
    first_state: list[int] = field(default_factory=lambda: [0])
    first_step: list[int] = field(default_factory=lambda: [0])
    window: list[tuple[int, int]] = field(default_factory=list)
    otherwise: list[float] = field(default_factory=list)
    work: list[tuple[int, int, int, int, int]] = field(default_factory=list)
    state_group: list[int] = field(default_factory=list)
    static: list[Costs] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)

    def signature(self, uses: Uses) -> int:
        if uses not in self.signatures:
            self.signatures.append(uses)
        return self.signatures.index(uses)


def shortest_minutes(operation: Operation) -> int:
    """What it lasts at least: with nothing to set out again."""
    return max(1, operation.minutes - operation.shared_minutes)


def groups_of(problem: Problem, pools: Pools) -> list[Group]:
    """Placements by everything that matters to a bound."""
    by_key: dict[object, list[str]] = {}
    pinned = {row.placement for row in problem.pins}
    pinned |= {vehicle.stands for vehicle in problem.vehicles if vehicle.stands}
    asked = sorted({o.placements for o in problem.operation_by_key.values()})
    for name, place in problem.placements.items():
        allowed = tuple(name in placements for placements in asked)
        alone = name if name in pinned else ""
        key = (place.kind, place.drive_minutes, pools.standing(place), allowed, alone)
        by_key.setdefault(key, []).append(name)
    return [
        Group(tuple(names), pools.standing(problem.placements[names[0]]))
        for names in by_key.values()
    ]


class Builder:
    """Fills the arrays, vehicle by vehicle."""

    def __init__(self, problem: Problem, pools: Pools) -> None:
        self.problem, self.pools = problem, pools
        self.openings = Openings(problem)
        self.ways = Ways(groups=groups_of(problem, pools))
        self.group_of = {
            name: index for index, group in enumerate(self.ways.groups) for name in group.placements
        }

    def build(self) -> Ways:
        for vehicle in self.problem.vehicles:
            self._vehicle(vehicle)
        return self.ways

    def _vehicle(self, vehicle: Vehicle) -> None:
        ways = self.ways
        low, high = self._window(vehicle)
        ways.window.append((low, high))
        ways.otherwise.append(self._after_window(vehicle, high))
        before: list[int] = []
        last = False
        for number, operation in enumerate(vehicle.operations):
            pin = self.problem.pin_by_key.get((vehicle.id, operation.id))
            ways.work.append(self._work(operation, pin))
            own, last, possible = list[int](), False, False
            for group in self._groups(vehicle, number):
                own.append(len(ways.state_group))
                ways.state_group.append(group)
                cost = self._static(vehicle, number, group, pin)
                ways.static.append(cost[low:high])
                last |= bool((cost[high:] < NEVER).any())
                possible |= bool((cost < NEVER).any())
            self._steps(vehicle, number, before, own)
            ways.first_state.append(len(ways.state_group))
            before = own
            if not possible:
                ways.otherwise[-1] = NEVER
        if not last:
            ways.otherwise[-1] = NEVER
        ways.first_operation.append(len(ways.work))

    def _window(self, vehicle: Vehicle) -> tuple[int, int]:
        pins = [r for r in self.problem.pins if r.vehicle == vehicle.id]
        earliest = min([max(vehicle.release, self.problem.now), *(r.start for r in pins)])
        low = max(0, earliest // GRID_MINUTES)
        latest = max([earliest, *(row.end for row in pins)]) + 60
        high = -(-latest // GRID_MINUTES) + WINDOW_CELLS
        return low, min(high, self.openings.cells)

    def _after_window(self, vehicle: Vehicle, high: int) -> float:
        """What the vehicle costs at least when its last operation starts after the window."""
        if high >= self.openings.cells:
            return NEVER
        last = vehicle.operations[-1]
        if (vehicle.id, last.id) in self.problem.pin_by_key:
            return NEVER
        return self._done(vehicle, high * GRID_MINUTES + shortest_minutes(last))

    def _done(self, vehicle: Vehicle, finish: int) -> float:
        costs = self.problem.costs
        late = costs.tardy * vehicle.weight * max(0, finish - vehicle.due)
        return float(late + costs.flow * vehicle.flow_weight * (finish - vehicle.release))

    def _work(self, operation: Operation, pin: Row | None) -> tuple[int, int, int, int, int]:
        """(signature, cells) of the operation and of the second person; 1 if it pays for floor.

        What a pin takes is not there for anybody, so it pays for nothing while it lasts.
        """
        nothing = self.ways.signature(())
        if pin is not None:
            cells = -(-pin.end // GRID_MINUTES) - pin.start // GRID_MINUTES
            return nothing, cells, nothing, 0, 0
        cells = -(-shortest_minutes(operation) // GRID_MINUTES)
        used = self.ways.signature(self.pools.work(self.problem, operation))
        helper = self.ways.signature(tuple((pool, 1) for pool in self.pools.by_skill[None]))
        second = -(-operation.second_person_minutes // GRID_MINUTES)
        return used, cells, helper, min(second, cells), 1

    def _groups(self, vehicle: Vehicle, number: int) -> list[int]:
        places = places_for(self.problem, vehicle, number)
        return list(dict.fromkeys(self.group_of[place.id] for place in places))

    def _static(self, vehicle: Vehicle, number: int, group: int, pin: Row | None) -> Costs:
        """Cost of starting in each cell, apart from moves; NEVER where it cannot."""
        operation, problem = vehicle.operations[number], self.problem
        minutes = shortest_minutes(operation)
        if pin is not None:
            minutes = pin.end - pin.start
            mask = np.zeros(self.openings.cells, np.bool_)
            mask[pin.start // GRID_MINUTES] = True
        else:
            mask = self._starts(vehicle, operation, minutes, group)
        cost = np.where(mask, 0.0, NEVER)
        at = np.arange(self.openings.cells) * GRID_MINUTES
        start = at if pin is None else np.full_like(at, pin.start)
        before = problem.previous_by_key.get((vehicle.id, operation.id))
        if before is not None:
            cost += self._changes(before, operation, minutes, group, start, pin)
        if number == len(vehicle.operations) - 1:
            finish = start + minutes
            costs = problem.costs
            cost += costs.tardy * vehicle.weight * np.maximum(0, finish - vehicle.due)
            cost += costs.flow * vehicle.flow_weight * (finish - vehicle.release)
        return cost

    def _starts(self, vehicle: Vehicle, operation: Operation, minutes: int, group: int) -> Mask:
        openings = self.openings
        mask = openings.shop(operation, minutes) & openings.people(operation, minutes)
        mask &= openings.equipment(operation, minutes)
        somewhere = np.zeros(openings.cells, np.bool_)
        for name in self.ways.groups[group].placements:
            if operation.anywhere or name in operation.placements:
                somewhere |= openings.place(self.problem.placements[name], minutes, vehicle)
        return mask & somewhere

    def _changes(
        self,
        before: Row,
        operation: Operation,
        minutes: int,
        group: int,
        start: npt.NDArray[np.int64],
        pin: Row | None,
    ) -> Costs:
        """The changes from the plan in force that cannot be avoided by starting in a cell."""
        costs = self.problem.costs
        moved = before.placement not in self.ways.groups[group].placements
        if pin is None:
            same = self.openings.starts(before.technician, minutes, operation.skill)
            others = ~same
        else:
            others = np.full(len(start), pin.technician != before.technician)
            moved = pin.placement != before.placement
        cost = costs.changed_start * (start != before.start)
        return (cost + costs.changed_resource * (others.astype(np.int64) + moved)).astype(float)

    def _steps(self, vehicle: Vehicle, number: int, before: list[int], own: list[int]) -> None:
        for target in own:
            if number == 0:
                self.ways.steps.append(self._arrive(vehicle, target))
            for source in before:
                self.ways.steps += self._moves(vehicle, number, source, target)
            self.ways.first_step.append(len(self.ways.steps))

    def _arrive(self, vehicle: Vehicle, target: int) -> Step:
        """The first start, counted from cell 0; the way to it and what that costs."""
        problem, operation = self.problem, vehicle.operations[0]
        there = self.ways.groups[self.ways.state_group[target]].one
        gap = problem.travel_minutes(vehicle.stands or problem.lot, there)
        soonest = -(-(vehicle.release + max(gap, operation.lag)) // GRID_MINUTES)
        if (vehicle.id, operation.id) in problem.pin_by_key:
            soonest = 0
        return Step(-1, target, soonest, 0, float(problem.costs.move * (gap > 0)), 0)

    def _moves(self, vehicle: Vehicle, number: int, source: int, target: int) -> Iterator[Step]:
        problem, ways = self.problem, self.ways
        from_group, to_group = ways.state_group[source], ways.state_group[target]
        here, there = ways.groups[from_group].one, ways.groups[to_group].one
        gap = 0 if from_group == to_group else problem.travel_minutes(here, there)
        cost = float(problem.costs.move)
        holds = int(bool(ways.groups[from_group].uses))
        after, leaves = self._delay(vehicle, number, gap)
        yield Step(source, target, after, leaves, cost * (gap > 0), holds)
        if holds:
            out = problem.travel_minutes(here, problem.lot)
            back = problem.travel_minutes(problem.lot, there)
            after, _ = self._delay(vehicle, number, out + back)
            yield Step(source, target, after, 0, cost * ((out > 0) + (back > 0)), 0)

    def _delay(self, vehicle: Vehicle, number: int, gap: int) -> tuple[int, int]:
        """Cells from the start before to the earliest start, and from leaving to the start."""
        first, second = vehicle.operations[number - 1 : number + 1]
        fixed = self.problem.pin_by_key
        pin, following = fixed.get((vehicle.id, first.id)), fixed.get((vehicle.id, second.id))
        wait = max(gap, second.lag)
        begins = 0 if pin is None else pin.start // GRID_MINUTES
        ends = shortest_minutes(first) if pin is None else pin.end - begins * GRID_MINUTES
        if pin is not None and following is not None:
            cell = following.start // GRID_MINUTES
            return cell - begins, cell - (following.start - gap) // GRID_MINUTES
        if following is not None:
            cell = following.start // GRID_MINUTES
            latest = (following.start - wait - ends) // GRID_MINUTES
            return cell - latest, cell - (following.start - gap) // GRID_MINUTES
        return -(-(ends + wait) // GRID_MINUTES), -(-gap // GRID_MINUTES)
