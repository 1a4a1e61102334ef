"""The planner's question as integer tables that compiled code can read."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from bays.planner.calendar import cell_at_or_after, cells_inside, cells_touched
from bays.planner.engine import columns as at
from bays.planner.engine.bits import Words
from bays.planner.engine.facts import Facts, Numbers, Rows
from bays.planner.holding import holds, rows_by_vehicle
from bays.planner.problem import GRID_MINUTES, Operation, Problem, Row, Vehicle

NONE = -1
OFF_GRID = -2
SPARE_WORDS = 3


@dataclass(frozen=True, slots=True)
class Names:
    """What the numbers stand for."""

    resources: tuple[str, ...]
    places: tuple[str, ...]
    number: dict[str, int]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A question ready for the engine.

    `facts` are all its numbers, read through `facts.py`: figures, lists of any length, tables.
    `free` has one row of free cells for each resource, then one for each skill that does not
    always hold. `rows` has one row for each operation, filled in where it is pinned.
    """

    problem: Problem
    facts: Facts
    free: Words
    rows: Rows
    names: Names
    place_number: dict[str, int]


class NotCompiled(ValueError):
    """The question has something the engine's tables have no room for."""


def compile_problem(problem: Problem) -> Compiled:
    """The question as tables. Pinned rows are in `rows` and taken out of `free`.

    Raises:
        NotCompiled: an operation needs more units at a time than the tables hold.
    """
    return _Reader(problem).compiled()


class _Reader:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        resources = (
            *(technician.id for technician in problem.technicians),
            *(unit.id for unit in problem.units),
            *sorted(problem.every_zone),
        )
        places = tuple(problem.placements)
        self.names = Names(resources, places, {name: n for n, name in enumerate(resources)})
        self.place_number = {name: n for n, name in enumerate(places)}
        self.cells = problem.horizon // GRID_MINUTES
        self.words = self.cells // 64 + 1 + SPARE_WORDS
        self.pool = [0] * at.F_WIDTH
        self.skill_rows: list[int] = []
        self.people: dict[str | None, tuple[int, int]] = {}
        self.groups: dict[tuple[tuple[str, ...], int], int] = {}
        self.place_lists: dict[tuple[str, ...], int] = {}
        self.set_ups: dict[str, int] = {}

    def compiled(self) -> Compiled:
        problem = self.problem
        places = self._places()
        free, own = self._free()
        operations: list[list[int]] = []
        vehicles = []
        for vehicle in problem.vehicles:
            first = len(operations)
            operations += [self._operation(vehicle, operation) for operation in vehicle.operations]
            vehicles.append(self._vehicle(vehicle, first, own.get(vehicle.id, [])))
        self._figures()
        tables = [operations, vehicles, places, self._travel()]
        for column, table in zip(
            (at.F_OPERATIONS, at.F_VEHICLES, at.F_PLACES, at.F_TRAVEL), tables, strict=True
        ):
            self.pool[column] = self._add(number for row in table for number in row)
        facts = np.array(self.pool, dtype=np.int64)
        masks = self._words([*free, *self.skill_rows])
        return Compiled(problem, facts, masks, self._pinned_rows(), self.names, self.place_number)

    def _add(self, numbers: Iterable[int]) -> int:
        begins = len(self.pool)
        self.pool += numbers
        return begins

    def _words(self, masks: Sequence[int]) -> Words:
        size = self.words * 8
        return np.array(
            [np.frombuffer(mask.to_bytes(size, "little"), dtype="<u8") for mask in masks],
            dtype=np.uint64,
        )

    def _places(self) -> list[list[int]]:
        rows = []
        for place in self.problem.placements.values():
            zones = [self.names.number[zone] for zone in sorted(place.zones)]
            crossed = [self.names.number[zone] for zone in sorted(place.crosses)]
            row = [0] * at.P_WIDTH
            row[at.P_ZONES], row[at.P_ZONE_COUNT] = self._add(zones), len(zones)
            row[at.P_CROSSED], row[at.P_CROSSED_COUNT] = self._add(crossed), len(crossed)
            row[at.P_ON_FLOOR] = int(place.kind == "floor")
            row[at.P_ROAD] = int(place.kind == "road")
            row[at.P_DRIVE_MINUTES] = self.problem.drive_minutes(place.id)
            rows.append(row)
        return rows

    def _travel(self) -> list[list[int]]:
        names, minutes = self.names.places, self.problem.travel_minutes
        return [[minutes(a, b) for b in names] for a in names]

    def _figures(self) -> None:
        problem, figures = self.problem, self.pool
        figures[at.F_PEOPLE], figures[at.F_PEOPLE_COUNT] = self._people(None)
        figures[at.F_NOW], figures[at.F_CELLS] = problem.now, self.cells
        figures[at.F_LOT] = self.place_number[problem.lot]
        figures[at.F_PLACE_COUNT] = len(self.names.places)
        figures[at.F_MOVE_COST] = problem.costs.move
        figures[at.F_CHANGED_START] = problem.costs.changed_start
        figures[at.F_CHANGED_RESOURCE] = problem.costs.changed_resource
        figures[at.F_DRIVE] = problem.technicians_drive
        figures[at.F_CROSSED] = problem.has_crossings
        figures[at.F_HAS_OLD] = bool(problem.previous)

    def _vehicle(self, vehicle: Vehicle, first: int, own: list[int]) -> list[int]:
        costs, row = self.problem.costs, [0] * at.V_WIDTH
        row[at.V_FIRST], row[at.V_STOP] = first, first + len(vehicle.operations)
        row[at.V_RELEASE], row[at.V_DUE] = vehicle.release, vehicle.due
        row[at.V_LATE_COST] = costs.tardy * vehicle.weight
        row[at.V_FLOW_COST] = costs.flow * vehicle.flow_weight
        row[at.V_STANDS] = self.place_number[vehicle.stands or self.problem.lot]
        pins = self.problem.pin_by_key
        row[at.V_LOOSE] = any((vehicle.id, o.id) not in pins for o in vehicle.operations)
        row[at.V_OWN], row[at.V_OWN_COUNT] = self._add(own), len(own) // 3
        return row

    def _operation(self, vehicle: Vehicle, operation: Operation) -> list[int]:
        problem, row = self.problem, [0] * at.OP_WIDTH
        row[at.OP_CELLS] = cell_at_or_after(operation.minutes)
        row[at.OP_MINUTES], row[at.OP_LAG] = operation.minutes, operation.lag
        row[at.OP_NOT_BEFORE] = cell_at_or_after(operation.not_before)
        row[at.OP_PEOPLE], row[at.OP_PEOPLE_COUNT] = self._people(operation.skill)
        named = set(operation.exact_units)
        wanted: list[tuple[tuple[str, ...], int]] = [((unit,), 1) for unit in sorted(named)]
        for kind, count in Counter(operation.equipment).items():
            others = tuple(u for u in problem.units_by_type.get(kind, ()) if u not in named)
            wanted.append((others, count))
        groups = [self._group(units, count) for units, count in wanted]
        row[at.OP_UNIT_COUNT] = sum(count for _, count in wanted)
        if row[at.OP_UNIT_COUNT] > at.UNITS_AT_MOST:
            raise NotCompiled(f"{operation.name} needs more than {at.UNITS_AT_MOST} units")
        row[at.OP_GROUPS], row[at.OP_GROUP_COUNT] = self._add(groups), len(groups)
        row[at.OP_PLACES] = self._place_list(operation.placements)
        row[at.OP_PLACE_COUNT] = len(operation.placements)
        row[at.OP_ANYWHERE] = operation.anywhere
        row[at.OP_PINNED] = (vehicle.id, operation.id) in problem.pin_by_key
        row[at.OP_HELP] = cell_at_or_after(operation.second_person_minutes)
        row[at.OP_SET_UP] = NONE
        if operation.set_up and operation.shared_minutes:
            row[at.OP_SHARED_MINUTES] = operation.shared_minutes
        if operation.set_up:
            row[at.OP_SET_UP] = self.set_ups.setdefault(operation.set_up, len(self.set_ups))
        self._old(row, problem.previous_by_key.get((vehicle.id, operation.id)))
        return row

    def _old(self, row: list[int], old: Row | None) -> None:
        row[at.OP_OLD_CELL] = row[at.OP_OLD_TECHNICIAN] = row[at.OP_OLD_PLACE] = NONE
        row[at.OP_OLD_UNITS :] = [NONE] * at.UNITS_AT_MOST
        if old is None:
            return
        for n, unit in enumerate(old.units[: at.UNITS_AT_MOST]):
            row[at.OP_OLD_UNITS + n] = self.names.number.get(unit, NONE)
        cell, off_grid = divmod(old.start, GRID_MINUTES)
        row[at.OP_OLD_CELL] = OFF_GRID if off_grid or cell < 0 else cell
        row[at.OP_OLD_TECHNICIAN] = self.names.number.get(old.technician, OFF_GRID)
        row[at.OP_OLD_PLACE] = self.place_number.get(old.placement, OFF_GRID)

    def _place_list(self, places: tuple[str, ...]) -> int:
        if places not in self.place_lists:
            self.place_lists[places] = self._add(self.place_number[name] for name in places)
        return self.place_lists[places]

    def _group(self, units: tuple[str, ...], count: int) -> int:
        """Address of a group of units: how many of them are needed, how many there are, which."""
        if (units, count) not in self.groups:
            numbers = [self.names.number[unit] for unit in units]
            self.groups[units, count] = self._add([count, len(numbers), *numbers])
        return self.groups[units, count]

    def _people(self, skill: str | None) -> tuple[int, int]:
        """Everyone with the skill, those with the fewest skills first."""
        if skill not in self.people:
            everyone = sorted(self.problem.technicians, key=lambda t: (len(t.skills), t.id))
            whole = (1 << self.cells) - 1
            pairs: list[int] = []
            for person in everyone:
                if skill is not None and skill not in person.skills:
                    continue
                mask = whole if skill is None else cells_inside(person.skills[skill]) & whole
                limited = mask != whole
                if limited:
                    self.skill_rows.append(mask)
                pairs += [
                    self.names.number[person.id],
                    len(self.names.resources) + len(self.skill_rows) - 1 if limited else NONE,
                ]
            self.people[skill] = self._add(pairs), len(pairs) // 2
        return self.people[skill]

    def _free(self) -> tuple[list[int], dict[str, list[int]]]:
        """Free cells by resource, and what is blocked for all but one vehicle, as spans."""
        problem = self.problem
        whole = (1 << self.cells) - 1
        opened = cells_inside(problem.open) & whole
        free = dict.fromkeys(self.names.resources, whole)
        for technician in problem.technicians:
            free[technician.id] = cells_inside(technician.shifts) & opened
        for unit in problem.units:
            for window in unit.unavailable:
                free[unit.id] &= ~cells_touched(*window)
        own: dict[tuple[str, str], int] = defaultdict(int)
        for block in problem.blocked:
            cells = cells_touched(*block.window)
            if block.vehicle is None:
                free[block.resource_id] &= ~cells
            else:
                own[block.vehicle, block.resource_id] |= cells
        for rows in rows_by_vehicle(problem.pins).values():
            self._take_pins(rows, free, own)
        spans: dict[str, list[int]] = defaultdict(list)
        for (vehicle, resource), cells in own.items():
            others = 0
            for (other, same), taken in own.items():
                if other != vehicle and same == resource:
                    others |= taken
            lent = cells & free[resource] & ~others
            spans[vehicle] += _spans(self.names.number[resource], lent)
        for (_, resource), cells in own.items():
            free[resource] &= ~cells
        return [free[name] & whole for name in self.names.resources], spans

    def _take_pins(
        self, rows: list[Row], free: dict[str, int], own: dict[tuple[str, str], int]
    ) -> None:
        """Pinned rows take what they last for; what their vehicle does between them is its own."""
        for hold in holds(self.problem, rows):
            cells = cells_touched(hold.start, hold.end)
            if hold.why:
                own[hold.row.vehicle, hold.resource] |= cells
            else:
                free[hold.resource] &= ~cells

    def _pinned_rows(self) -> Rows:
        problem = self.problem
        rows = np.full((len(problem.operation_by_key), at.R_WIDTH), NONE, dtype=np.int64)
        numbers = {key: n for n, key in enumerate(problem.operation_by_key)}
        for pin in problem.pins:
            self.fill(rows[numbers[pin.key]], pin)
        return rows

    def fill(self, target: Numbers, row: Row) -> None:
        fill_row(target, row, self.names, self.place_number)


def fill_row(target: Numbers, row: Row, names: Names, place_number: dict[str, int]) -> None:
    """Write a row of a plan into the table; off the grid it takes every cell it touches."""
    target[:] = NONE
    target[at.R_CELL] = row.start // GRID_MINUTES
    target[at.R_END_MINUTE], target[at.R_STOP] = row.end, cell_at_or_after(row.end)
    target[at.R_TECHNICIAN] = names.number[row.technician]
    if row.second_person is not None:
        target[at.R_SECOND] = names.number[row.second_person]
    target[at.R_PLACE] = place_number[row.placement]
    target[at.R_PARK], target[at.R_WAY] = row.park_after, 0
    for n, unit in enumerate(row.units[: at.UNITS_AT_MOST]):
        target[at.R_UNITS + n] = names.number[unit]


def _spans(resource: int, mask: int) -> list[int]:
    found: list[int] = []
    cell = 0
    while mask:
        skip = (mask & -mask).bit_length() - 1
        mask >>= skip
        cell += skip
        length = ((mask + 1) & ~mask).bit_length() - 1
        found += [resource, cell, cell + length]
        mask >>= length
        cell += length
    return found
