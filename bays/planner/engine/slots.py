"""The first cells an operation may start in, at one place or at any, compiled."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, uint64

from bays.planner.engine import columns as at
from bays.planner.engine.bits import ALL, Words, is_free, lowest_bit, runs
from bays.planner.engine.chance import below, share
from bays.planner.engine.facts import Facts, cells_of, of_operation, of_place, travel

# How often a vehicle waits in the lot though it might stay where it is.
PARKED_SHARE = 0.3


class Stand(NamedTuple):
    """Where a vehicle is before an operation."""

    place: int
    ready: int  # the cell from which it may be moved or worked on
    ended: int  # the minute its last operation ended, at first its release
    kept: bool  # whether the place is held for it
    until: int  # the cell up to which it may stay there
    leaves: bool  # whether it must be able to drive out right after the operation


class Slot(NamedTuple):
    """A start found; `rank` orders slots, -1 says there is none."""

    rank: int
    cell: int
    place: int
    park: int


def desk_for(words: int, chance: Words) -> Words:
    """Room to work in, all the arrays in one since passing arrays costs time.

    0 is the stream of chance; 1 counts operations looked at; then for each word the starts that
    people and units allow and the count for which they were worked out.
    """
    desk = np.zeros(2 + 2 * words, np.uint64)
    desk[0] = chance[0]
    return desk


@njit(cache=True, nogil=True)
def _able(t: Facts, free: Words, n: int, word: int, cells: int) -> np.uint64:
    """Starts for which somebody with the skill is free."""
    found = uint64(0)
    begins = of_operation(t, n, at.OP_PEOPLE)
    for i in range(begins, begins + 2 * of_operation(t, n, at.OP_PEOPLE_COUNT), 2):
        one = runs(free, t[i], word, cells)
        if t[i + 1] >= 0:
            one &= runs(free, t[i + 1], word, cells)
        found |= one
        if found == ALL:
            break
    return found


@njit(cache=True, nogil=True)
def _two_free(t: Facts, free: Words, word: int, cells: int) -> np.uint64:
    """Starts for which any two people are free."""
    one, two = uint64(0), uint64(0)
    begins = t[at.F_PEOPLE]
    for i in range(begins, begins + 2 * t[at.F_PEOPLE_COUNT], 2):
        mask = runs(free, t[i], word, cells)
        two |= one & mask
        one |= mask
    return two


@njit(cache=True, nogil=True)
def _enough(t: Facts, free: Words, group: int, word: int, cells: int) -> np.uint64:
    """Starts for which as many units of a group are free as are needed."""
    count, size = t[group], t[group + 1]
    found = uint64(0)
    if count == 1:
        for u in range(group + 2, group + 2 + size):
            found |= runs(free, t[u], word, cells)
            if found == ALL:
                break
        return found
    reached = np.zeros(count, np.uint64)
    for u in range(group + 2, group + 2 + size):
        mask = runs(free, t[u], word, cells)
        for level in range(count - 1, 0, -1):
            reached[level] |= reached[level - 1] & mask
        reached[0] |= mask
    return reached[count - 1]


@njit(cache=True, nogil=True)
def common_starts(t: Facts, free: Words, desk: Words, n: int, word: int, cells: int) -> np.uint64:
    """Starts that people and units allow; worked out once for an operation."""
    kept = 2 + 2 * word
    if desk[kept + 1] == desk[1]:
        return desk[kept]
    found = _able(t, free, n, word, cells)
    if found != uint64(0) and of_operation(t, n, at.OP_HELP) > 0:
        found &= _two_free(t, free, word, of_operation(t, n, at.OP_HELP))
    groups = of_operation(t, n, at.OP_GROUPS)
    for g in range(groups, groups + of_operation(t, n, at.OP_GROUP_COUNT)):
        if found == uint64(0):
            break
        found &= _enough(t, free, t[g], word, cells)
    desk[kept] = found
    desk[kept + 1] = desk[1]
    return found


@njit(cache=True, nogil=True)
def first_start(
    t: Facts,
    free: Words,
    desk: Words,
    n: int,
    stand: Stand,
    place: int,
    park: bool,
    first: int,
    last: int,
) -> int:
    """The first cell from `first` to `last` the operation may start in at a place; -1: none."""
    cells = of_operation(t, n, at.OP_CELLS)
    first, last = max(first, 0), min(last, t[at.F_CELLS] - cells)
    if last < first:
        return -1
    slow = t[at.F_CROSSED] == 1 or t[at.F_DRIVE] == 1
    zones = of_place(t, place, at.P_ZONES)
    stop = zones + of_place(t, place, at.P_ZONE_COUNT)
    for word in range(first >> 6, (last >> 6) + 1):
        mask = common_starts(t, free, desk, n, word, cells)
        if word == first >> 6:
            mask &= ALL << uint64(first & 63)
        if word == last >> 6:
            mask &= ALL >> uint64(63 - (last & 63))
        for z in range(zones, stop):
            if mask == uint64(0):
                break
            mask &= runs(free, t[z], word, cells)
        while mask != uint64(0):
            cell = word * 64 + lowest_bit(mask)
            if not slow or _way_clear(t, free, n, stand, place, park, cell):
                return cell
            mask &= mask - uint64(1)
    return -1


@njit(cache=True, nogil=True)
def way_cells(t: Facts, stand: Stand, place: int, park: bool) -> int:
    """Cells for which whoever does the operation drives before it."""
    if t[at.F_DRIVE] == 0 or (stand.place == place and not park):
        return 0
    begins = t[at.F_LOT] if park else stand.place
    return cells_of(travel(t, begins, place))


@njit(cache=True, nogil=True)
def can_lead(t: Facts, free: Words, pair: int, cell: int, cells: int, way: int) -> bool:
    """Whether a person of the pool is free for the way and the work, the skill holding."""
    if not is_free(free, t[pair], cell - way, cell + cells):
        return False
    skill = t[pair + 1]
    return skill < 0 or is_free(free, skill, cell, cell + cells)


@njit(cache=True, nogil=True)
def _way_clear(
    t: Facts, free: Words, n: int, stand: Stand, place: int, park: bool, cell: int
) -> bool:
    """Whether somebody can bring the vehicle, and nothing stands where it drives."""
    way = way_cells(t, stand, place, park)
    if way > 0:
        begins, found = of_operation(t, n, at.OP_PEOPLE), False
        for i in range(begins, begins + 2 * of_operation(t, n, at.OP_PEOPLE_COUNT), 2):
            if can_lead(t, free, i, cell, of_operation(t, n, at.OP_CELLS), way):
                found = True
                break
        if not found:
            return False
    if t[at.F_CROSSED] == 0:
        return True
    drive = of_place(t, place, at.P_DRIVE_MINUTES)
    starts = cell * at.CELL_MINUTES
    if park or stand.place != place:
        if not crossed_clear(t, free, place, starts - drive, starts):
            return False
        leaves = stand.ended if park else starts - travel(t, stand.place, place)
        ends = leaves + of_place(t, stand.place, at.P_DRIVE_MINUTES)
        if not crossed_clear(t, free, stand.place, leaves, ends):
            return False
    if stand.leaves:
        ends = starts + of_operation(t, n, at.OP_MINUTES)
        return crossed_clear(t, free, place, ends, ends + drive)
    return True


@njit(cache=True, nogil=True)
def crossed_clear(t: Facts, free: Words, place: int, starts: int, ends: int) -> bool:
    """Whether the zones driven through are free for those minutes; what is over hinders nobody."""
    starts = max(starts, t[at.F_NOW])
    if starts >= ends:
        return True
    crossed = of_place(t, place, at.P_CROSSED)
    for z in range(crossed, crossed + of_place(t, place, at.P_CROSSED_COUNT)):
        first, stop = starts // at.CELL_MINUTES, cells_of(ends)
        if not is_free(free, t[z], first, stop):
            return False
    return True


@njit(cache=True, nogil=True)
def best_slot(t: Facts, free: Words, desk: Words, n: int, stand: Stand, blink: float) -> Slot:
    """The soonest start anywhere, a move counting half a cell; places left out by chance."""
    desk[1] += uint64(1)
    best = Slot(-1, -1, -1, 0)
    if of_operation(t, n, at.OP_ANYWHERE) == 1:
        if of_place(t, stand.place, at.P_ON_FLOOR) == 1:
            best = _at_place(t, free, desk, n, stand, stand.place, best)
        return _at_place(t, free, desk, n, stand, t[at.F_LOT], best)
    begins, count = of_operation(t, n, at.OP_PLACES), of_operation(t, n, at.OP_PLACE_COUNT)
    turn = below(desk, count) if count > 1 else 0
    for i in range(count):
        place = t[begins + (i + turn) % count]
        if blink > 0.0 and count > 1 and share(desk) < blink:
            continue
        best = _at_place(t, free, desk, n, stand, place, best)
    return _parked_by_chance(t, free, desk, n, stand, best)


@njit(cache=True, nogil=True)
def _parked_by_chance(t: Facts, free: Words, desk: Words, n: int, stand: Stand, best: Slot) -> Slot:
    """Now and then wait in the lot rather than where others want to stand."""
    if best.rank < 0 or best.park == 1 or best.place == stand.place or not stand.kept:
        return best
    if of_place(t, stand.place, at.P_ZONE_COUNT) == 0 or share(desk) > PARKED_SHARE:
        return best
    lot = t[at.F_LOT]
    away = cells_of(travel(t, stand.place, lot)) + cells_of(travel(t, lot, best.place))
    if best.cell < stand.ready + away + 1:
        return best
    slow = t[at.F_CROSSED] == 1 or t[at.F_DRIVE] == 1
    if slow and not _way_clear(t, free, n, stand, best.place, True, best.cell):
        return best
    return Slot(best.rank, best.cell, best.place, 1)


@njit(cache=True, nogil=True)
def _at_place(
    t: Facts, free: Words, desk: Words, n: int, stand: Stand, place: int, best: Slot
) -> Slot:
    soonest = cells_of(stand.ended + of_operation(t, n, at.OP_LAG))
    soonest = max(soonest, stand.ready, of_operation(t, n, at.OP_NOT_BEFORE))
    whole = t[at.F_CELLS]
    minutes = travel(t, stand.place, place)
    gap = cells_of(minutes)
    first, last = max(soonest, stand.ready + gap), whole
    if stand.kept and of_place(t, stand.place, at.P_ZONE_COUNT) > 0:
        if place == stand.place:
            last = stand.until - of_operation(t, n, at.OP_CELLS)
        else:
            last = stand.until + minutes // at.CELL_MINUTES
        lot = t[at.F_LOT]
        out, back = travel(t, stand.place, lot), travel(t, lot, place)
        away = cells_of(out) + cells_of(back)
        moves = (out > 0) + (back > 0)
        parked = max(soonest, stand.ready + away)
        best = _better(t, free, desk, n, stand, place, 0, first, last, (gap > 0) + 0, best)
        # Parked only where the place has to be given up: otherwise it is the same slot for more.
        if best.rank < 0 or (parked * 2 + moves) < (best.rank >> 12):
            return _better(t, free, desk, n, stand, place, 1, parked, whole, moves, best)
        return best
    return _better(t, free, desk, n, stand, place, 0, first, last, (gap > 0) + 0, best)


@njit(cache=True, nogil=True)
def _better(
    t: Facts,
    free: Words,
    desk: Words,
    n: int,
    stand: Stand,
    place: int,
    park: int,
    first: int,
    last: int,
    moves: int,
    best: Slot,
) -> Slot:
    if best.rank >= 0:
        last = min(last, ((best.rank >> 12) - moves) // 2)
    cell = first_start(t, free, desk, n, stand, place, park == 1, first, last)
    if cell < 0:
        return best
    rank = ((cell * 2 + moves) << 12) + (moves << 9) + (of_place(t, place, at.P_ZONE_COUNT) << 4)
    rank += below(desk, 16)
    if best.rank >= 0 and rank >= best.rank:
        return best
    return Slot(rank, cell, place, park)


@njit(cache=True, nogil=True)
def old_slot(t: Facts, free: Words, desk: Words, n: int, stand: Stand) -> Slot:
    """Where the plan in force has the operation, when that can still be."""
    none = Slot(-1, -1, -1, 0)
    cell, place = of_operation(t, n, at.OP_OLD_CELL), of_operation(t, n, at.OP_OLD_PLACE)
    if cell < 0 or place < 0:
        return none
    allowed = of_operation(t, n, at.OP_ANYWHERE) == 1 and (
        place == stand.place or place == t[at.F_LOT]
    )
    begins = of_operation(t, n, at.OP_PLACES)
    for i in range(begins, begins + of_operation(t, n, at.OP_PLACE_COUNT)):
        allowed = allowed or (of_operation(t, n, at.OP_ANYWHERE) == 0 and t[i] == place)
    if not allowed:
        return none
    desk[1] += uint64(1)
    found = _at_place_from(t, free, desk, n, stand, place, cell)
    return found if found.cell == cell else none


@njit(cache=True, nogil=True)
def _at_place_from(
    t: Facts, free: Words, desk: Words, n: int, stand: Stand, place: int, cell: int
) -> Slot:
    """The slot at this very cell, or none."""
    probe = Slot(-1, -1, -1, 0)
    soonest = cells_of(stand.ended + of_operation(t, n, at.OP_LAG))
    if cell < max(soonest, stand.ready, of_operation(t, n, at.OP_NOT_BEFORE)):
        return probe
    minutes = travel(t, stand.place, place)
    gap = cells_of(minutes)
    held = stand.kept and of_place(t, stand.place, at.P_ZONE_COUNT) > 0
    last = t[at.F_CELLS]
    if held and place == stand.place:
        last = stand.until - of_operation(t, n, at.OP_CELLS)
    elif held:
        last = stand.until + minutes // at.CELL_MINUTES
    if stand.ready + gap <= cell <= last:
        at_once = first_start(t, free, desk, n, stand, place, False, cell, cell)
        if at_once == cell:
            return Slot(0, cell, place, 0)
    if not held:
        return probe
    lot = t[at.F_LOT]
    out, back = travel(t, stand.place, lot), travel(t, lot, place)
    away = cells_of(out) + cells_of(back)
    if stand.ready + away <= cell:
        fetched = first_start(t, free, desk, n, stand, place, True, cell, cell)
        if fetched == cell:
            return Slot(0, cell, place, 1)
    return probe
