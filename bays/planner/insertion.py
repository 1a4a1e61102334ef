"""Put one vehicle into a calendar, operation by operation, each where it is done soonest.

All choices of an operation last equally long, so soonest done is soonest started. Among equal
starts the fewest moves win, then the fewest zones, then the widest margin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from bays.planner.calendar import (
    Calendar,
    at_least,
    cell_at_or_after,
    cell_span,
    first_cell,
    from_cell,
    starts_of,
)
from bays.planner.moves import Standing, may_leave, ways_clear
from bays.planner.problem import GRID_MINUTES, Operation, Placement, Problem, Row, Vehicle

# A place is given up when keeping it would block it for longer than this much opening time;
# parking and fetching back costs two moves, so short waits are not worth it.
PARK_AFTER_OPEN_MINUTES = 60

PEOPLE, SECOND, FLOOR = "people", "second person", "floor"


class Slot(NamedTuple):
    cell: int
    placement: str
    park_before: bool
    moves: int


class Approach(NamedTuple):
    """A way to a placement: the cells an operation may start in, and what it takes."""

    first: int
    last: int
    park: bool
    moves: int


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
    return Standing(rows[-1].placement, rows[-1].end)


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
    for operation in vehicle.operations:
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
        slot = None
        if wanted is not None and ask.sticky:
            slot = _slot_of(calendar, operation, standing, wanted, leaves)
        if slot is None:
            slot = find_slot(calendar, operation, standing, leaves=leaves)
            if slot is None:
                return Stuck(operation, standing, tuple(rows))
        if rows:
            rows[-1] = replace(rows[-1], park_after=slot.park_before)
        same = rows[-1].technician if rows and ask.follow else None
        rows.append(_row(calendar, vehicle, operation, slot, wanted, same))
        placed_last = True
    if placed_last:
        rows[-1] = replace(rows[-1], park_after=False)
    return tuple(rows)


def length_in_cells(operation: Operation) -> int:
    return cell_at_or_after(operation.minutes)


def group_masks(calendar: Calendar, operation: Operation) -> dict[str, int]:
    """Cells in which the operation can start, by kind of resource it needs besides floor."""
    problem, cells = calendar.problem, length_in_cells(operation)
    people = 0
    for technician in problem.technicians:
        people |= calendar.starts(technician.id, cells, operation.skill)
    masks = {PEOPLE: people}
    if operation.second_person_minutes:
        helpers = cell_at_or_after(operation.second_person_minutes)
        # Whoever leads is free for the shorter time as well, so two free people mean that
        # one is left over to help, whoever leads.
        masks[SECOND] = at_least(2, (calendar.starts(t.id, helpers) for t in problem.technicians))
    for kind, count in Counter(operation.equipment).items():
        units = problem.units_by_type.get(kind, ())
        masks[f"unit {kind}"] = at_least(count, (calendar.starts(unit, cells) for unit in units))
    return masks


def earliest_cell(problem: Problem, operation: Operation, standing: Standing) -> int:
    return cell_at_or_after(max(problem.now, standing.ready + operation.lag))


def find_slot(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    relax: Collection[str] = (),
    *,
    leaves: bool = False,
) -> Slot | None:
    """The first slot for the operation; with `relax`, as if those groups were never short.

    With `leaves` the vehicle must be able to drive out as soon as it is done.
    """
    problem, cells = calendar.problem, length_in_cells(operation)
    mask = starts_of(calendar.open, cells)
    for group, starts in group_masks(calendar, operation).items():
        if group not in relax:
            mask &= starts
    mask = from_cell(mask, earliest_cell(problem, operation, standing))
    if not mask:
        return None
    stays_until = calendar.cells if FLOOR in relax else _free_until(calendar, standing)
    best: tuple[tuple[float, int, int, float], Slot, int] | None = None
    for placement in candidates(problem, operation, standing):
        here = mask
        if FLOOR not in relax:
            for zone in placement.zones:
                here &= calendar.starts(zone, cells)
        for approach in _approaches(problem, standing, placement, cells, stays_until):
            span = here & cell_span(approach.first, approach.last + 1)
            if span and FLOOR not in relax:
                span &= ways_clear(calendar, operation, standing, placement, approach.park, leaves)
            cell = first_cell(span)
            if cell is None:
                continue
            # Half a cell a move: a move is only worth making when it gains more than that.
            rank = (
                cell + approach.moves / 2,
                approach.moves,
                len(placement.zones),
                -(placement.margin_mm or 0.0),
            )
            if best is None or rank < best[0]:
                slot = Slot(cell, placement.id, approach.park, approach.moves)
                best = (rank, slot, here)
    if best is None:
        return None
    return _parked_if_long(calendar, operation, standing, best[1])


def candidates(problem: Problem, operation: Operation, standing: Standing) -> list[Placement]:
    """Placements to try; an `anywhere` operation stays where the vehicle is, or uses the lot."""
    if not operation.anywhere:
        return [problem.placements[name] for name in operation.placements]
    places = [problem.placements[problem.lot]]
    if problem.placements[standing.placement].kind == "floor":
        places.insert(0, problem.placements[standing.placement])
    return places


def _base_cell(problem: Problem, standing: Standing) -> int:
    """A vehicle cannot set off before now, however long ago its last operation ended."""
    return cell_at_or_after(max(problem.now, standing.ready))


def _free_until(calendar: Calendar, standing: Standing) -> int:
    """The cell up to which the vehicle may go on standing where it is.

    Counted from its last operation's end even when that is past: a place that was closed in
    the meantime has to be given up by parking.
    """
    base = cell_at_or_after(standing.ready)
    free = (1 << calendar.cells) - 1
    for zone in calendar.problem.placements[standing.placement].zones:
        free &= calendar.free[zone]
    taken = ~(free >> base)
    return base + (taken & -taken).bit_length() - 1


def _travel_cells(problem: Problem, start: str, end: str) -> int:
    return cell_at_or_after(problem.travel_minutes(start, end))


def _approaches(
    problem: Problem, standing: Standing, placement: Placement, cells: int, stays_until: int
) -> Iterator[Approach]:
    base, last = _base_cell(problem, standing), problem.horizon // GRID_MINUTES
    gap = _travel_cells(problem, standing.placement, placement.id)
    if not standing.kept or not problem.placements[standing.placement].zones:
        yield Approach(base + gap, last, park=False, moves=int(gap > 0))
        return
    if placement.id == standing.placement:
        yield Approach(base, stays_until - cells, park=False, moves=0)
    else:
        # Rounded down: off the grid it must still be gone before the place is somebody else's.
        latest = problem.travel_minutes(standing.placement, placement.id) // GRID_MINUTES
        yield Approach(base + gap, stays_until + latest, park=False, moves=int(gap > 0))
    there = _travel_cells(problem, standing.placement, problem.lot)
    back = _travel_cells(problem, problem.lot, placement.id)
    yield Approach(base + there + back, last, park=True, moves=int(there > 0) + int(back > 0))


def _parked_if_long(
    calendar: Calendar, operation: Operation, standing: Standing, slot: Slot
) -> Slot:
    """The same slot, but waited for in the lot when that would block a place for long."""
    problem = calendar.problem
    if slot.park_before or not problem.placements[standing.placement].zones or not standing.kept:
        return slot
    base = _base_cell(problem, standing)
    waits = (calendar.open & cell_span(base, slot.cell)).bit_count() * GRID_MINUTES
    placement = problem.placements[slot.placement]
    *_, parked = _approaches(problem, standing, placement, length_in_cells(operation), slot.cell)
    if waits <= PARK_AFTER_OPEN_MINUTES or slot.cell < parked.first:
        return slot
    if not ways_clear(calendar, operation, standing, placement, True, False) >> slot.cell & 1:
        return slot
    return slot._replace(park_before=True, moves=parked.moves)


def _slot_of(
    calendar: Calendar, operation: Operation, standing: Standing, row: Row, leaves: bool
) -> Slot | None:
    """The slot of an existing row, when everything it used can still be used then."""
    problem, cells = calendar.problem, length_in_cells(operation)
    cell, off_grid = divmod(row.start, GRID_MINUTES)
    if off_grid or row.end - row.start != operation.minutes:
        return None
    mask = starts_of(calendar.open, cells)
    mask &= calendar.starts(row.technician, cells, operation.skill)
    if row.second_person is not None:
        helpers = cell_at_or_after(operation.second_person_minutes)
        mask &= calendar.starts(row.second_person, helpers)
    placement = problem.placements[row.placement]
    for resource in (*row.units, *placement.zones):
        mask &= calendar.starts(resource, cells)
    if not mask >> cell & 1 or cell < earliest_cell(problem, operation, standing):
        return None
    if placement not in candidates(problem, operation, standing):
        return None
    stays_until = _free_until(calendar, standing)
    for approach in _approaches(problem, standing, placement, cells, stays_until):
        clear = ways_clear(calendar, operation, standing, placement, approach.park, leaves)
        if approach.first <= cell <= approach.last and clear >> cell & 1:
            slot = Slot(cell, placement.id, approach.park, approach.moves)
            return _parked_if_long(calendar, operation, standing, slot)
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
    stays_until = _free_until(calendar, standing) * GRID_MINUTES
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
    leader = _leader(calendar, operation, slot.cell, wanted.technician if wanted else same)
    start = slot.cell * GRID_MINUTES
    return Row(
        vehicle=vehicle.id,
        operation=operation.id,
        start=start,
        end=start + operation.minutes,
        technician=leader,
        second_person=_second(calendar, operation, slot.cell, leader, wanted),
        units=_units(calendar, operation, slot.cell, wanted),
        placement=slot.placement,
    )


def _leader(calendar: Calendar, operation: Operation, cell: int, wanted: str | None) -> str:
    """Who did it or is at the vehicle; else the fewest skills, so that rarer ones stay free."""
    cells = length_in_cells(operation)
    able = [
        technician
        for technician in calendar.problem.technicians
        if calendar.starts(technician.id, cells, operation.skill) >> cell & 1
    ]
    chosen = min(able, key=lambda t: (t.id != wanted, len(t.skills)))
    return chosen.id


def _second(
    calendar: Calendar, operation: Operation, cell: int, leader: str, wanted: Row | None
) -> str | None:
    if not operation.second_person_minutes:
        return None
    cells = cell_at_or_after(operation.second_person_minutes)
    able = [
        technician
        for technician in calendar.problem.technicians
        if technician.id != leader and calendar.starts(technician.id, cells) >> cell & 1
    ]
    before = None if wanted is None else wanted.second_person
    return min(able, key=lambda t: (t.id != before, len(t.skills))).id


def _units(
    calendar: Calendar, operation: Operation, cell: int, wanted: Row | None
) -> tuple[str, ...]:
    cells, chosen = length_in_cells(operation), list[str]()
    before = () if wanted is None else wanted.units
    for kind in operation.equipment:
        able = [
            unit
            for unit in calendar.problem.units_by_type[kind]
            if unit not in chosen and calendar.starts(unit, cells) >> cell & 1
        ]
        chosen.append(min(able, key=lambda unit: unit not in before))
    return tuple(chosen)
