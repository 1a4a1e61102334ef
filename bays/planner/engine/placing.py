"""Put one vehicle into a plan, operation by operation, each as soon as it can, compiled."""

from __future__ import annotations

from numba import njit

from bays.planner.engine import columns as at
from bays.planner.engine.bits import Words, first_taken, is_free
from bays.planner.engine.chance import below, share
from bays.planner.engine.facts import (
    Facts,
    Rows,
    cells_of,
    of_operation,
    of_place,
    of_vehicle,
    travel,
)
from bays.planner.engine.holding_cells import cost_of, hold_rows, keep_own
from bays.planner.engine.slots import (
    Slot,
    Stand,
    best_slot,
    can_lead,
    crossed_clear,
    old_slot,
    way_cells,
)


@njit(cache=True, nogil=True)
def place_vehicle(
    t: Facts, free: Words, rows: Rows, desk: Words, vehicle: int, blink: float, sticky: bool
) -> int:
    """Write the vehicle's rows and take what they hold; the cost, or -1 and nothing is taken.

    `blink` is the chance that a place is overlooked; `sticky` keeps what the plan in force says
    wherever that can still be.
    """
    keep_own(t, free, vehicle, True)
    found = _place(t, free, rows, desk, vehicle, blink, sticky, t[at.F_CROSSED] == 1)
    if found:
        hold_rows(t, free, rows, vehicle, False)
    keep_own(t, free, vehicle, False)
    return cost_of(t, rows, vehicle) if found else -1


@njit(cache=True, nogil=True)
def _place(
    t: Facts,
    free: Words,
    rows: Rows,
    desk: Words,
    vehicle: int,
    blink: float,
    sticky: bool,
    free_to_go: bool,
) -> bool:
    first, stop = of_vehicle(t, vehicle, at.V_FIRST), of_vehicle(t, vehicle, at.V_STOP)
    now = cells_of(t[at.F_NOW])
    place, ended, kept = (
        of_vehicle(t, vehicle, at.V_STANDS),
        of_vehicle(t, vehicle, at.V_RELEASE),
        False,
    )
    loose = False
    for n in range(first, stop):
        released = cells_of(ended)
        ready = max(now, released)
        if of_operation(t, n, at.OP_PINNED) == 1:
            if loose and not _meets_pin(t, free, rows, n, place, ended):
                return False
            place, ended, kept, loose = rows[n, at.R_PLACE], rows[n, at.R_END_MINUTE], True, False
            continue
        until = _stays_until(t, free, place, released) if kept else 0
        stand = Stand(place, ready, ended, kept, until, free_to_go or n == stop - 1)
        slot = Slot(-1, -1, -1, 0)
        if sticky:
            slot = old_slot(t, free, desk, n, stand)
        if slot.rank < 0:
            slot = best_slot(t, free, desk, n, stand, blink)
        if slot.rank < 0:
            return False
        if n > first:
            rows[n - 1, at.R_PARK] = slot.park
        _write(t, free, rows, desk, n, first, stand, slot)
        place, ended, kept, loose = slot.place, rows[n, at.R_END_MINUTE], True, True
    if loose:
        rows[stop - 1, at.R_PARK] = 0
    return True


@njit(cache=True, nogil=True)
def _stays_until(t: Facts, free: Words, place: int, cell: int) -> int:
    until = t[at.F_CELLS]
    zones = of_place(t, place, at.P_ZONES)
    for z in range(zones, zones + of_place(t, place, at.P_ZONE_COUNT)):
        until = min(until, first_taken(free, t[z], cell))
    return until


@njit(cache=True, nogil=True)
def _meets_pin(t: Facts, free: Words, rows: Rows, n: int, place: int, ended: int) -> bool:
    """Whether the vehicle gets from where it is to a row that is fixed; sets how."""
    starts, there = rows[n, at.R_CELL] * at.CELL_MINUTES, rows[n, at.R_PLACE]
    if ended + of_operation(t, n, at.OP_LAG) > starts:
        return False
    on_way = travel(t, place, there)
    released = cells_of(ended)
    until = _stays_until(t, free, place, released)
    stays = rows[n, at.R_CELL] - on_way // at.CELL_MINUTES
    zones = of_place(t, place, at.P_ZONE_COUNT)
    if ended + on_way <= starts and (zones == 0 or stays <= until):
        rows[n - 1, at.R_PARK] = 0
        if t[at.F_CROSSED] == 0 or place == there:
            return True
        return _leaves(t, free, place, starts - on_way) and _arrives(t, free, there, starts)
    lot = t[at.F_LOT]
    if ended + travel(t, place, lot) + travel(t, lot, there) > starts:
        return False
    rows[n - 1, at.R_PARK] = 1
    if t[at.F_CROSSED] == 0:
        return True
    return _leaves(t, free, place, ended) and _arrives(t, free, there, starts)


@njit(cache=True, nogil=True)
def _leaves(t: Facts, free: Words, place: int, minute: int) -> bool:
    return crossed_clear(t, free, place, minute, minute + of_place(t, place, at.P_DRIVE_MINUTES))


@njit(cache=True, nogil=True)
def _arrives(t: Facts, free: Words, place: int, minute: int) -> bool:
    return crossed_clear(t, free, place, minute - of_place(t, place, at.P_DRIVE_MINUTES), minute)


@njit(cache=True, nogil=True)
def _write(
    t: Facts,
    free: Words,
    rows: Rows,
    desk: Words,
    n: int,
    first: int,
    stand: Stand,
    slot: Slot,
) -> None:
    cells = of_operation(t, n, at.OP_CELLS)
    way = way_cells(t, stand, slot.place, slot.park == 1)
    rows[n, at.R_CELL], rows[n, at.R_PLACE] = slot.cell, slot.place
    rows[n, at.R_WAY], rows[n, at.R_PARK] = way, 0
    _choose_units(t, free, rows, n, n > first, slot.cell, cells)
    minutes = of_operation(t, n, at.OP_MINUTES)
    if n > first and shares_set_up(t, rows, n):
        minutes -= of_operation(t, n, at.OP_SHARED_MINUTES)
    rows[n, at.R_END_MINUTE] = slot.cell * at.CELL_MINUTES + minutes
    rows[n, at.R_STOP] = cells_of(rows[n, at.R_END_MINUTE])
    leader = _choose_leader(t, free, desk, n, slot.cell, cells, way)
    rows[n, at.R_TECHNICIAN] = leader
    rows[n, at.R_SECOND] = -1
    if of_operation(t, n, at.OP_HELP) > 0:
        rows[n, at.R_SECOND] = _choose_second(t, free, n, slot.cell, leader)


@njit(cache=True, nogil=True)
def _choose_leader(
    t: Facts, free: Words, desk: Words, n: int, cell: int, cells: int, way: int
) -> int:
    """Whoever had it; else mostly who has the fewest skills, so that rarer ones stay free."""
    begins, count = of_operation(t, n, at.OP_PEOPLE), of_operation(t, n, at.OP_PEOPLE_COUNT)
    chosen, able = -1, 0
    by_chance = share(desk) < 0.3
    for i in range(begins, begins + 2 * count, 2):
        if not can_lead(t, free, i, cell, cells, way):
            continue
        if t[i] == of_operation(t, n, at.OP_OLD_TECHNICIAN):
            return t[i]
        able += 1
        if chosen < 0 or (by_chance and below(desk, able) == 0):
            chosen = t[i]
    return chosen


@njit(cache=True, nogil=True)
def _choose_second(t: Facts, free: Words, n: int, cell: int, leader: int) -> int:
    begins = t[at.F_PEOPLE]
    for i in range(begins, begins + 2 * t[at.F_PEOPLE_COUNT], 2):
        if t[i] != leader and is_free(free, t[i], cell, cell + of_operation(t, n, at.OP_HELP)):
            return t[i]
    return -1


@njit(cache=True, nogil=True)
def _choose_units(
    t: Facts, free: Words, rows: Rows, n: int, follows: bool, cell: int, cells: int
) -> None:
    """Units of the operation before, or of the plan in force, where they are free; else others."""
    groups, filled = of_operation(t, n, at.OP_GROUPS), 0
    for g in range(groups, groups + of_operation(t, n, at.OP_GROUP_COUNT)):
        group = t[g]
        missing = t[group]
        for again in range(2):
            for u in range(group + 2, group + 2 + t[group + 1]):
                if missing == 0:
                    break
                unit = t[u]
                before = (follows and _uses(t, rows, n - 1, unit)) or _had(t, n, unit)
                if before != (again == 0) or _taken(rows, n, filled, unit):
                    continue
                if is_free(free, unit, cell, cell + cells):
                    rows[n, at.R_UNITS + filled] = unit
                    filled += 1
                    missing -= 1


@njit(cache=True, nogil=True)
def _uses(t: Facts, rows: Rows, n: int, unit: int) -> bool:
    return _taken(rows, n, of_operation(t, n, at.OP_UNIT_COUNT), unit)


@njit(cache=True, nogil=True)
def _had(t: Facts, n: int, unit: int) -> bool:
    for u in range(of_operation(t, n, at.OP_UNIT_COUNT)):
        if of_operation(t, n, at.OP_OLD_UNITS + u) == unit:
            return True
    return False


@njit(cache=True, nogil=True)
def _taken(rows: Rows, n: int, count: int, unit: int) -> bool:
    for u in range(count):
        if rows[n, at.R_UNITS + u] == unit:
            return True
    return False


@njit(cache=True, nogil=True)
def shares_set_up(t: Facts, rows: Rows, n: int) -> bool:
    """Whether what was set out for the operation before serves this one as it stands."""
    same = of_operation(t, n, at.OP_SET_UP)
    if (
        same < 0
        or same != of_operation(t, n - 1, at.OP_SET_UP)
        or of_operation(t, n, at.OP_LAG) > 0
    ):
        return False
    if rows[n - 1, at.R_PARK] == 1 or rows[n - 1, at.R_PLACE] != rows[n, at.R_PLACE]:
        return False
    if rows[n - 1, at.R_END_MINUTE] != rows[n, at.R_CELL] * at.CELL_MINUTES:
        return False
    count = of_operation(t, n, at.OP_UNIT_COUNT)
    if count != of_operation(t, n - 1, at.OP_UNIT_COUNT):
        return False
    for u in range(count):
        if not _uses(t, rows, n - 1, rows[n, at.R_UNITS + u]):
            return False
    return True
