"""Put one vehicle into a calendar, operation by operation, each where it is done soonest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from bays.planner.calendar import Calendar, cell_at_or_after, starts_of
from bays.planner.meeting import Meeting, in_time
from bays.planner.moves import Standing, may_leave, ways_clear
from bays.planner.problem import GRID_MINUTES, Operation, Problem, Row, Vehicle
from bays.planner.slots import (
    Slot,
    able,
    approaches,
    candidates,
    earliest_cell,
    find_slot,
    free_until,
    length_in_cells,
    parked_if_long,
    shared_slot,
    shortened,
    units_to_choose,
    unshared_start,
)


@dataclass(frozen=True, slots=True)
class Stuck:
    """No slot before the horizon for this operation, from this standing."""

    operation: Operation
    standing: Standing
    rows: tuple[Row, ...]
    pin: Row | None = None


def standing_before(problem: Problem, vehicle: Vehicle, rows: list[Row]) -> Standing:
    if not rows:
        return Standing(vehicle.stands or problem.lot, vehicle.release, kept=False)
    return Standing(rows[-1].placement, rows[-1].end, row=rows[-1])


def insert(
    calendar: Calendar,
    vehicle: Vehicle,
    *,
    fixed: Mapping[str, Row],
    old: Mapping[str, Row] | None = None,
    sticky: bool = False,
    follow: bool = True,
) -> tuple[Row, ...] | Stuck:
    """Rows for the whole vehicle, in order; the calendar is read and not changed.

    `fixed` rows (by operation id) stay as they are and must already be in the calendar. People
    and units of `old` rows are preferred; `sticky` keeps an old row's time and place as well
    wherever it still fits. With `follow` the person at the vehicle goes on with it when free.
    A vehicle that would be shut in at some place is planned again so that its way out is free
    after every operation.
    """
    ask = _Wish(fixed, old or {}, sticky, follow)
    seen = calendar.seen_by(vehicle.id)
    rows = _insert(seen, vehicle, ask)
    if isinstance(rows, Stuck) and calendar.problem.has_crossings:
        free_to_go = _insert(seen, vehicle, replace(ask, free_to_go=True))
        return rows if isinstance(free_to_go, Stuck) else free_to_go
    return rows


@dataclass(frozen=True, slots=True)
class _Wish:
    """What a vehicle's rows are to be like; see `insert`."""

    fixed: Mapping[str, Row]
    old: Mapping[str, Row]
    sticky: bool
    follow: bool
    free_to_go: bool = False


def _insert(calendar: Calendar, vehicle: Vehicle, ask: _Wish) -> tuple[Row, ...] | Stuck:
    problem = calendar.problem
    rows: list[Row] = []
    placed_last = False
    for number, operation in enumerate(vehicle.operations):
        standing = standing_before(problem, vehicle, rows)
        leaves = ask.free_to_go or operation is vehicle.operations[-1]
        pin = ask.fixed.get(operation.id)
        if pin is not None:
            park = _park_to_meet(calendar, operation, standing, pin) if placed_last else None
            if park is not None:
                rows[-1] = replace(rows[-1], park_after=park)
            elif placed_last:
                return Stuck(operation, standing, tuple(rows), pin)
            rows.append(pin)
            placed_last = False
            continue
        wanted = ask.old.get(operation.id)
        meets = _meeting(vehicle, number, ask)
        slot = None
        if wanted is not None and ask.sticky:
            slot = _slot_of(calendar, operation, standing, wanted, leaves, meets)
        if slot is None:
            slot = find_slot(calendar, operation, standing, leaves=leaves, meets=meets)
            if slot is None:
                pin = None if meets is None else meets.row
                return Stuck(operation, standing, tuple(rows), pin)
        if rows:
            rows[-1] = replace(rows[-1], park_after=slot.park_before)
        same = rows[-1].technician if rows and ask.follow else None
        rows.append(_row(calendar, vehicle, operation, slot, wanted, same))
        placed_last = True
    if placed_last:
        rows[-1] = replace(rows[-1], park_after=False)
    return tuple(rows)


def _meeting(vehicle: Vehicle, number: int, ask: _Wish) -> Meeting | None:
    """The row directly after, where it is fixed: the operation has to leave it room."""
    if number + 1 == len(vehicle.operations):
        return None
    later = vehicle.operations[number + 1]
    row = ask.fixed.get(later.id)
    return None if row is None else Meeting(row, later.lag)


def _slot_of(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    row: Row,
    leaves: bool,
    meets: Meeting | None,
) -> Slot | None:
    """The slot of an existing row, when everything it used can still be used then."""
    problem, cells = calendar.problem, length_in_cells(operation)
    cell, off_grid = divmod(row.start, GRID_MINUTES)
    if off_grid:
        return None
    shared = shared_slot(calendar, operation, standing, leaves=leaves, meets=meets)
    if shared is not None and (shared.cell, shared.placement) == (cell, row.placement):
        return shared
    if row.end - row.start != operation.minutes:
        return None
    mask = starts_of(calendar.open, cells)
    mask &= calendar.starts(row.technician, cells, operation.skill)
    if row.second_person is not None:
        helpers = cell_at_or_after(operation.second_person_minutes)
        mask &= calendar.starts(row.second_person, helpers)
    placement = problem.placements[row.placement]
    for resource in (*row.units, *placement.zones):
        mask &= calendar.starts(resource, cells)
    mask &= ~unshared_start(calendar, operation, standing, placement)
    if meets is not None:
        mask &= in_time(calendar, operation.minutes, placement, meets)
    if not mask >> cell & 1 or cell < earliest_cell(problem, operation, standing):
        return None
    if placement not in candidates(problem, operation, standing):
        return None
    stays_until = free_until(calendar, standing)
    for approach in approaches(problem, standing, placement, cells, stays_until):
        clear = ways_clear(calendar, operation, standing, placement, approach.park, leaves)
        clear &= able(calendar, operation, row.technician, approach.driven)
        if approach.first <= cell <= approach.last and clear >> cell & 1:
            slot = Slot(cell, placement.id, approach.park, approach.moves, approach.driven)
            return parked_if_long(calendar, operation, standing, slot)
    return None


def _park_to_meet(
    calendar: Calendar, operation: Operation, standing: Standing, pin: Row
) -> bool | None:
    """Whether to park on the way to a pinned row; None when it cannot be met at all."""
    problem = calendar.problem
    if standing.ready + operation.lag > pin.start:
        return None
    base, placement = max(problem.now, standing.ready), problem.placements[pin.placement]
    gap = problem.travel_minutes(standing.placement, placement.id)
    stays_until = free_until(calendar, standing) * GRID_MINUTES
    moves = standing.placement != placement.id
    if (
        base + gap <= pin.start
        and (not problem.placements[standing.placement].zones or pin.start - gap <= stays_until)
        and (not moves or may_leave(calendar, standing, pin.start - gap))
    ):
        return False
    there = problem.travel_minutes(standing.placement, problem.lot)
    back = problem.travel_minutes(problem.lot, placement.id)
    reached = base + there + back <= pin.start
    return True if reached and may_leave(calendar, standing, standing.ready) else None


def _row(
    calendar: Calendar,
    vehicle: Vehicle,
    operation: Operation,
    slot: Slot,
    wanted: Row | None,
    same: str | None,
) -> Row:
    if slot.units is not None:
        operation = shortened(operation)
    leader = _leader(calendar, operation, slot, wanted.technician if wanted else same)
    start = slot.cell * GRID_MINUTES
    return Row(
        vehicle=vehicle.id,
        operation=operation.id,
        start=start,
        end=start + operation.minutes,
        technician=leader,
        second_person=_second(calendar, operation, slot.cell, leader, wanted),
        units=slot.units or _units(calendar, operation, slot.cell, wanted),
        placement=slot.placement,
    )


def _leader(calendar: Calendar, operation: Operation, slot: Slot, wanted: str | None) -> str:
    """Who did it or is at the vehicle; else the fewest skills, so that rarer ones stay free."""
    people = [
        technician
        for technician in calendar.problem.technicians
        if able(calendar, operation, technician.id, slot.driven) >> slot.cell & 1
    ]
    chosen = min(people, key=lambda t: (t.id != wanted, len(t.skills)))
    return chosen.id


def _second(
    calendar: Calendar, operation: Operation, cell: int, leader: str, wanted: Row | None
) -> str | None:
    if not operation.second_person_minutes:
        return None
    cells = cell_at_or_after(operation.second_person_minutes)
    others = [
        technician
        for technician in calendar.problem.technicians
        if technician.id != leader and calendar.starts(technician.id, cells) >> cell & 1
    ]
    before = None if wanted is None else wanted.second_person
    return min(others, key=lambda t: (t.id != before, len(t.skills))).id


def _units(
    calendar: Calendar, operation: Operation, cell: int, wanted: Row | None
) -> tuple[str, ...]:
    cells, chosen = length_in_cells(operation), list[str]()
    before = () if wanted is None else wanted.units
    for kind in operation.equipment:
        free = [
            unit
            for unit in units_to_choose(calendar.problem, operation, kind)
            if unit not in chosen and calendar.starts(unit, cells) >> cell & 1
        ]
        chosen.append(min(free, key=lambda unit: unit not in before))
    return (*chosen, *operation.exact_units)
