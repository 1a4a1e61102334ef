"""The first slot for one operation, and which resources leave it none.

All choices of an operation last equally long, so soonest done is soonest started; only going
on at once with what is set out already is shorter, and nothing starts before that. Among equal
starts the fewest moves win, then the fewest zones, then the widest margin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace
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
from bays.planner.holding import drives_from, may_share_set_up
from bays.planner.meeting import Meeting, in_time
from bays.planner.moves import Standing, ways_clear
from bays.planner.problem import GRID_MINUTES, Operation, Placement, Problem

# A place is given up when keeping it would block it for longer than this much opening time;
# parking and fetching back costs two moves, so short waits are not worth it.
PARK_AFTER_OPEN_MINUTES = 60

PEOPLE, SECOND, FLOOR = "people", "second person", "floor"
NAMED = "named "  # before the id of a unit asked for by name


class Slot(NamedTuple):
    """A start. Its technician drives the vehicle there for `driven` minutes before it.

    `units` are those of the row before, where the operation goes on with what is set out.
    """

    cell: int
    placement: str
    park_before: bool
    moves: int
    driven: int = 0
    units: tuple[str, ...] | None = None


class Approach(NamedTuple):
    """A way to a placement: the cells an operation may start in, and what it takes."""

    first: int
    last: int
    park: bool
    moves: int
    driven: int = 0


def length_in_cells(operation: Operation) -> int:
    return cell_at_or_after(operation.minutes)


def shortened(operation: Operation) -> Operation:
    """The operation as it is where its set-up stands already."""
    return replace(operation, minutes=operation.minutes - operation.shared_minutes)


def group_masks(calendar: Calendar, operation: Operation) -> dict[str, int]:
    """Cells in which the operation can start, by kind of resource it needs besides floor."""
    problem, cells = calendar.problem, length_in_cells(operation)
    masks = {PEOPLE: able_people(calendar, operation, 0)}
    if operation.second_person_minutes:
        helpers = cell_at_or_after(operation.second_person_minutes)
        # Whoever leads is free for the shorter time as well, so two free people mean that
        # one is left over to help, whoever leads.
        masks[SECOND] = at_least(2, (calendar.starts(t.id, helpers) for t in problem.technicians))
    for kind, count in Counter(operation.equipment).items():
        units = units_to_choose(problem, operation, kind)
        masks[f"unit {kind}"] = at_least(count, (calendar.starts(unit, cells) for unit in units))
    for unit in operation.exact_units:
        masks[f"{NAMED}{unit}"] = calendar.starts(unit, cells)
    return masks


def units_to_choose(problem: Problem, operation: Operation, kind: str) -> tuple[str, ...]:
    """Units of a type, without those the operation needs by name besides."""
    units = problem.units_by_type.get(kind, ())
    if not operation.exact_units:
        return units
    return tuple(unit for unit in units if unit not in operation.exact_units)


def able_people(calendar: Calendar, operation: Operation, driven: int) -> int:
    """Cells in which somebody can start it who is free to drive for the minutes before."""
    people = 0
    for technician in calendar.problem.technicians:
        people |= able(calendar, operation, technician.id, driven)
    return people


def able(calendar: Calendar, operation: Operation, technician: str, driven: int) -> int:
    mask = calendar.starts(technician, length_in_cells(operation), operation.skill)
    return mask & calendar.clear_at(technician, -driven, 0) if driven and mask else mask


def earliest_cell(problem: Problem, operation: Operation, standing: Standing) -> int:
    ready = max(standing.ready + operation.lag, operation.not_before)
    return cell_at_or_after(max(problem.now, ready))


def find_slot(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    relax: Collection[str] = (),
    *,
    leaves: bool = False,
    meets: Meeting | None = None,
) -> Slot | None:
    """The first slot for the operation; with `relax`, as if those groups were never short.

    With `leaves` the vehicle must be able to drive out as soon as it is done; what `meets`
    names is reached in time.
    """
    problem, cells = calendar.problem, length_in_cells(operation)
    shared = shared_slot(calendar, operation, standing, relax, leaves=leaves, meets=meets)
    if shared is not None:
        return shared
    mask = starts_of(calendar.open, cells)
    for group, starts in group_masks(calendar, operation).items():
        if group not in relax:
            mask &= starts
    mask = from_cell(mask, earliest_cell(problem, operation, standing))
    if not mask:
        return None
    best = min(
        _ranked(calendar, operation, standing, mask, relax, leaves=leaves, meets=meets),
        key=lambda found: found[0],
        default=None,
    )
    return None if best is None else parked_if_long(calendar, operation, standing, best[1])


def _ranked(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    mask: int,
    relax: Collection[str],
    *,
    leaves: bool,
    meets: Meeting | None,
) -> Iterator[tuple[tuple[float, int, int, float], Slot]]:
    """The first start by each way to each placement, with its rank."""
    problem, cells = calendar.problem, length_in_cells(operation)
    floor, people = FLOOR not in relax, PEOPLE not in relax
    stays_until = free_until(calendar, standing) if floor else calendar.cells
    driving = _Driving(calendar, operation)
    for placement in candidates(problem, operation, standing):
        here = mask & ~unshared_start(calendar, operation, standing, placement)
        for zone in placement.zones if floor else ():
            here &= calendar.starts(zone, cells)
        if meets is not None:
            here &= in_time(calendar, operation.minutes, placement, meets)
        if not here:
            continue
        for approach in approaches(problem, standing, placement, cells, stays_until):
            span = here & cell_span(approach.first, approach.last + 1)
            if span and floor:
                span &= ways_clear(calendar, operation, standing, placement, approach.park, leaves)
            if span and people and approach.driven:
                span &= driving[approach.driven]
            cell = first_cell(span)
            if cell is not None:
                yield _rank(cell, approach, placement), _slot(cell, placement, approach)


def _rank(cell: int, approach: Approach, placement: Placement) -> tuple[float, int, int, float]:
    """Half a cell a move: a move is only worth making when it gains more than that."""
    moves, margin = approach.moves, placement.margin_mm or 0.0
    return (cell + moves / 2, moves, len(placement.zones), -margin)


class _Driving(dict[int, int]):
    """Cells in which somebody can start who was free to drive, by minutes driven."""

    def __init__(self, calendar: Calendar, operation: Operation) -> None:
        super().__init__()
        self.calendar, self.operation = calendar, operation

    def __missing__(self, driven: int) -> int:
        mask = self[driven] = able_people(self.calendar, self.operation, driven)
        return mask


def _slot(cell: int, placement: Placement, approach: Approach) -> Slot:
    return Slot(cell, placement.id, approach.park, approach.moves, approach.driven)


def candidates(problem: Problem, operation: Operation, standing: Standing) -> list[Placement]:
    """Placements to try; an `anywhere` operation stays where the vehicle is, or uses the lot."""
    if not operation.anywhere:
        return [problem.placements[name] for name in operation.placements]
    places = [problem.placements[problem.lot]]
    if problem.placements[standing.placement].kind == "floor":
        places.insert(0, problem.placements[standing.placement])
    return places


def shared_slot(
    calendar: Calendar,
    operation: Operation,
    standing: Standing,
    relax: Collection[str] = (),
    *,
    leaves: bool = False,
    meets: Meeting | None = None,
) -> Slot | None:
    """Going on at once, in the same place, with what is set out for the row before."""
    problem, before = calendar.problem, standing.row
    cell = _cell_to_share(problem, operation, standing)
    if cell is None or before is None:
        return None
    place, short = problem.placements[before.placement], shortened(operation)
    if place.id not in {one.id for one in candidates(problem, operation, standing)}:
        return None
    cells = length_in_cells(short)
    mask = starts_of(calendar.open, cells) & 1 << cell
    for group, starts in group_masks(calendar, short).items():
        if group not in relax:
            mask &= starts
    units = [u for u in before.units if f"unit {problem.unit_by_id[u].type}" not in relax]
    for resource in (*units, *(() if FLOOR in relax else place.zones)):
        mask &= calendar.starts(resource, cells)
    if FLOOR not in relax and mask:
        mask &= ways_clear(calendar, short, standing, place, False, leaves)
    if meets is not None and mask:
        mask &= in_time(calendar, short.minutes, place, meets)
    return Slot(cell, place.id, False, 0, 0, before.units) if mask else None


def _cell_to_share(problem: Problem, operation: Operation, standing: Standing) -> int | None:
    """The cell in which the row before ends, where the operation could share its set-up."""
    before = standing.row
    if before is None or not may_share_set_up(
        problem, replace(before, park_after=False), operation
    ):
        return None
    cell, off_grid = divmod(before.end, GRID_MINUTES)
    return None if off_grid or cell < earliest_cell(problem, operation, standing) else cell


def unshared_start(
    calendar: Calendar, operation: Operation, standing: Standing, placement: Placement
) -> int:
    """The one start in which it would share a set-up, if it took the same units: not to be used.

    It was found that going on at once does not work; at its full length it would be too long.
    """
    before = standing.row
    if before is None or placement.id != before.placement:
        return 0
    cell = _cell_to_share(calendar.problem, operation, standing)
    if cell is None:
        return 0
    full = length_in_cells(operation)
    mask = 1 << cell
    for unit in before.units:
        mask &= calendar.starts(unit, full)
    return mask


def _base_cell(problem: Problem, standing: Standing) -> int:
    """A vehicle cannot set off before now, however long ago its last operation ended."""
    return cell_at_or_after(max(problem.now, standing.ready))


def free_until(calendar: Calendar, standing: Standing) -> int:
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


def approaches(
    problem: Problem, standing: Standing, placement: Placement, cells: int, stays_until: int
) -> Iterator[Approach]:
    base, last = _base_cell(problem, standing), problem.horizon // GRID_MINUTES
    gap = _travel_cells(problem, standing.placement, placement.id)
    driven = drives_from(problem, standing.placement, False, placement.id)
    if not standing.kept or not problem.placements[standing.placement].zones:
        yield Approach(base + gap, last, park=False, moves=int(gap > 0), driven=driven)
        return
    if placement.id == standing.placement:
        yield Approach(base, stays_until - cells, park=False, moves=0)
    else:
        # Rounded down: off the grid it must still be gone before the place is somebody else's.
        latest = problem.travel_minutes(standing.placement, placement.id) // GRID_MINUTES
        yield Approach(
            base + gap, stays_until + latest, park=False, moves=int(gap > 0), driven=driven
        )
    there = _travel_cells(problem, standing.placement, problem.lot)
    back = _travel_cells(problem, problem.lot, placement.id)
    fetched = drives_from(problem, standing.placement, True, placement.id)
    moves = int(there > 0) + int(back > 0)
    latest_cell = problem.horizon // GRID_MINUTES
    yield Approach(base + there + back, latest_cell, park=True, moves=moves, driven=fetched)


def parked_if_long(
    calendar: Calendar, operation: Operation, standing: Standing, slot: Slot
) -> Slot:
    """The same slot, but waited for in the lot when that would block a place for long."""
    problem = calendar.problem
    if slot.park_before or not problem.placements[standing.placement].zones or not standing.kept:
        return slot
    base = _base_cell(problem, standing)
    waits = (calendar.open & cell_span(base, slot.cell)).bit_count() * GRID_MINUTES
    placement = problem.placements[slot.placement]
    *_, parked = approaches(problem, standing, placement, length_in_cells(operation), slot.cell)
    if waits <= PARK_AFTER_OPEN_MINUTES or slot.cell < parked.first:
        return slot
    if not ways_clear(calendar, operation, standing, placement, True, False) >> slot.cell & 1:
        return slot
    if parked.driven and not able_people(calendar, operation, parked.driven) >> slot.cell & 1:
        return slot
    return slot._replace(park_before=True, moves=parked.moves, driven=parked.driven)
