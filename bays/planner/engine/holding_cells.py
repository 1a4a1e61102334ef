"""What the rows of one vehicle take, and what they cost, compiled."""

from __future__ import annotations

from numba import njit

from bays.planner.engine import columns as at
from bays.planner.engine.bits import Words, set_free
from bays.planner.engine.facts import (
    Facts,
    Rows,
    cells_of,
    of_operation,
    of_place,
    of_vehicle,
    travel,
)


@njit(cache=True, nogil=True)
def hold_rows(t: Facts, free: Words, rows: Rows, vehicle: int, give: bool) -> None:
    """Take (or give back) everything the vehicle's rows hold that is not a fact already."""
    first, stop = of_vehicle(t, vehicle, at.V_FIRST), of_vehicle(t, vehicle, at.V_STOP)
    for n in range(first, stop):
        pinned = of_operation(t, n, at.OP_PINNED) == 1
        cell, ends = rows[n, at.R_CELL], rows[n, at.R_STOP]
        if not pinned:
            set_free(free, rows[n, at.R_TECHNICIAN], cell - rows[n, at.R_WAY], ends, give)
            if rows[n, at.R_SECOND] >= 0:
                helped = cell + of_operation(t, n, at.OP_HELP)
                set_free(free, rows[n, at.R_SECOND], cell, helped, give)
            for u in range(of_operation(t, n, at.OP_UNIT_COUNT)):
                set_free(free, rows[n, at.R_UNITS + u], cell, ends, give)
        stays = ends
        if n + 1 < stop and rows[n, at.R_PARK] != 1:
            if pinned and of_operation(t, n + 1, at.OP_PINNED) == 1:
                continue
            minutes = travel(t, rows[n, at.R_PLACE], rows[n + 1, at.R_PLACE])
            stays = max(stays, rows[n + 1, at.R_CELL] - minutes // at.CELL_MINUTES)
        begins = ends if pinned else cell
        place = rows[n, at.R_PLACE]
        zones = of_place(t, place, at.P_ZONES)
        for z in range(zones, zones + of_place(t, place, at.P_ZONE_COUNT)):
            set_free(free, t[z], begins, stays, give)
    if t[at.F_CROSSED] == 1:
        _hold_ways(t, free, rows, vehicle, give)
    if give:
        keep_own(t, free, vehicle, False)


@njit(cache=True, nogil=True)
def keep_own(t: Facts, free: Words, vehicle: int, give: bool) -> None:
    """Lend the vehicle what is blocked for its own sake, or block it for the others again."""
    own = of_vehicle(t, vehicle, at.V_OWN)
    for n in range(of_vehicle(t, vehicle, at.V_OWN_COUNT)):
        span = own + 3 * n
        set_free(free, t[span], t[span + 1], t[span + 2], give)


@njit(cache=True, nogil=True)
def _hold_ways(t: Facts, free: Words, rows: Rows, vehicle: int, give: bool) -> None:
    first, stop = of_vehicle(t, vehicle, at.V_FIRST), of_vehicle(t, vehicle, at.V_STOP)
    stands = of_vehicle(t, vehicle, at.V_STANDS)
    for n in range(first, stop):
        pinned = of_operation(t, n, at.OP_PINNED) == 1
        place, starts = rows[n, at.R_PLACE], rows[n, at.R_CELL] * at.CELL_MINUTES
        parked = n > first and rows[n - 1, at.R_PARK] == 1
        known = pinned and n > first and of_operation(t, n - 1, at.OP_PINNED) == 1
        known = known or (pinned and n == first)
        if (parked or stands != place) and not known:
            leaves = starts - travel(t, stands, place)
            if n > first:
                ended = rows[n - 1, at.R_END_MINUTE]
                leaves = ended if parked else max(ended, leaves)
            _hold_way(
                t, free, stands, leaves, leaves + of_place(t, stands, at.P_DRIVE_MINUTES), give
            )
            _hold_way(t, free, place, starts - of_place(t, place, at.P_DRIVE_MINUTES), starts, give)
        stands = place
    if of_operation(t, stop - 1, at.OP_PINNED) == 0:
        ended = rows[stop - 1, at.R_END_MINUTE]
        _hold_way(t, free, stands, ended, ended + of_place(t, stands, at.P_DRIVE_MINUTES), give)


@njit(cache=True, nogil=True)
def _hold_way(t: Facts, free: Words, place: int, starts: int, ends: int, give: bool) -> None:
    starts = max(starts, t[at.F_NOW])
    if starts >= ends:
        return
    crossed = of_place(t, place, at.P_CROSSED)
    for z in range(crossed, crossed + of_place(t, place, at.P_CROSSED_COUNT)):
        set_free(free, t[z], starts // at.CELL_MINUTES, cells_of(ends), give)


@njit(cache=True, nogil=True)
def cost_of(t: Facts, rows: Rows, vehicle: int) -> int:
    """What the vehicle's rows cost: late minutes, minutes here, moves and changes."""
    first, stop = of_vehicle(t, vehicle, at.V_FIRST), of_vehicle(t, vehicle, at.V_STOP)
    ended = rows[stop - 1, at.R_END_MINUTE]
    late = max(0, ended - of_vehicle(t, vehicle, at.V_DUE))
    cost = of_vehicle(t, vehicle, at.V_LATE_COST) * late
    cost += of_vehicle(t, vehicle, at.V_FLOW_COST) * (ended - of_vehicle(t, vehicle, at.V_RELEASE))
    lot, stands, moves, parked = t[at.F_LOT], of_vehicle(t, vehicle, at.V_STANDS), 0, False
    for n in range(first, stop):
        place = rows[n, at.R_PLACE]
        if parked:
            moves += (travel(t, stands, lot) > 0) + (travel(t, lot, place) > 0)
        else:
            moves += travel(t, stands, place) > 0
        stands, parked = place, rows[n, at.R_PARK] == 1
    cost += t[at.F_MOVE_COST] * moves
    if t[at.F_HAS_OLD] == 1:
        for n in range(first, stop):
            cost += _changes(t, rows, n)
    return cost


@njit(cache=True, nogil=True)
def _changes(t: Facts, rows: Rows, n: int) -> int:
    if of_operation(t, n, at.OP_OLD_TECHNICIAN) == -1:
        return 0
    technician = rows[n, at.R_TECHNICIAN] != of_operation(t, n, at.OP_OLD_TECHNICIAN)
    place = rows[n, at.R_PLACE] != of_operation(t, n, at.OP_OLD_PLACE)
    cost = t[at.F_CHANGED_RESOURCE] * (technician + place)
    if of_operation(t, n, at.OP_PINNED) == 0:  # a fact costs the same in every plan
        start = rows[n, at.R_CELL] != of_operation(t, n, at.OP_OLD_CELL)
        cost += t[at.F_CHANGED_START] * start
    return cost
