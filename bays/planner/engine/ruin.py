"""Take some vehicles out of a plan and put them back better, many times, compiled.

Ruin and recreate with strings of related vehicles, blinks and simulated annealing, after
Schrimpf et al., "Record Breaking Optimization Results Using the Ruin and Recreate Principle",
J. Comput. Phys. 159 (2000), and Christiaens and Vanden Berghe, "Slack Induction by String
Removals", Transportation Science 54 (2020).
"""

from __future__ import annotations

from math import log
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.planner.engine import columns as at
from bays.planner.engine.bits import Words
from bays.planner.engine.chance import below, share
from bays.planner.engine.facts import (
    Facts,
    Numbers,
    Rows,
    cells_of,
    of_operation,
    of_place,
    of_vehicle,
)
from bays.planner.engine.holding_cells import hold_rows
from bays.planner.engine.placing import place_vehicle


class State(NamedTuple):
    """A plan being worked on. `cost` is by vehicle, -1 for one that is not placed."""

    free: Words
    rows: Rows
    cost: Numbers
    best_rows: Rows
    best_cost: Numbers
    loose: Numbers  # vehicles that may move, in order of their release
    rank: Numbers  # where each vehicle is in `loose`, -1 for those that stay
    alone: Numbers  # by vehicle: the least it can cost
    total: Numbers  # 0: cost of the loose ones now, 1: at best


class Mood(NamedTuple):
    """How to search; temperatures are in cost."""

    hot: float
    cold: float
    most: int  # vehicles taken out at once
    blink: float


@njit(cache=True, nogil=True)
def search(
    t: Facts, s: State, desk: Words, mood: Mood, begun: float, done: float, times: int
) -> int:
    """Ruin and recreate `times` times, cooling from share `begun` to `done` of the whole search.

    Answers the number of vehicles put back.
    """
    free, rows, cost, alone, total = s.free, s.rows, s.cost, s.alone, s.total
    out = np.empty(mood.most, np.int64)
    keys = np.empty(mood.most, np.float64)
    kept = np.empty((mood.most, _most_operations(t, s.loose), at.R_WIDTH), np.int64)
    old_costs = np.empty(mood.most, np.int64)
    placed_in_all = 0
    for turn in range(times):
        passed = begun + (done - begun) * turn / times
        temperature = mood.hot * (mood.cold / mood.hot) ** passed
        size = _choose(t, s, desk, out, mood.most)
        _sort(t, s, desk, out, keys, size)
        before, least = 0, 0
        for i in range(size):
            v = out[i]
            before += cost[v]
            least += alone[v]
            old_costs[i] = cost[v]
            _copy_out(t, rows, kept, i, v)
            hold_rows(t, free, rows, v, True)
        limit = before - temperature * log(share(desk) + 1e-12)
        after, placed, ok = 0, 0, True
        sticky = t[at.F_HAS_OLD] == 1 and share(desk) < 0.7
        for i in range(size):
            v = out[i]
            least -= alone[v]
            now = place_vehicle(t, free, rows, desk, v, mood.blink, sticky)
            placed_in_all += 1
            if now < 0:
                ok = False
                break
            placed += 1
            cost[v] = now
            after += now
            if after + least >= limit:
                ok = False
                break
        if not ok:
            for i in range(placed):
                hold_rows(t, free, rows, out[i], True)
            _put_back(t, s, out, kept, old_costs, size)
            continue
        total[0] += after - before
        if total[0] < total[1]:
            total[1] = total[0]
            total[2] = 1
        elif after > before and total[2] == 1:
            # Leaving the best plan so far: keep it as it was.
            _keep_best(t, s, out, kept, old_costs, size)
            total[2] = 0
    if total[2] == 1:
        s.best_rows[:] = rows
        s.best_cost[:] = cost
        total[2] = 0
    return placed_in_all


@njit(cache=True, nogil=True)
def _most_operations(t: Facts, vehicles: Numbers) -> int:
    most = 0
    for v in vehicles:
        most = max(most, of_vehicle(t, v, at.V_STOP) - of_vehicle(t, v, at.V_FIRST))
    return most


@njit(cache=True, nogil=True)
def _put_back(t: Facts, s: State, out: Numbers, kept: Rows, old_costs: Numbers, size: int) -> None:
    """As it was before they were taken out."""
    for i in range(size):
        _copy_back(t, s.rows, kept, i, out[i])
        s.cost[out[i]] = old_costs[i]
        hold_rows(t, s.free, s.rows, out[i], False)


@njit(cache=True, nogil=True)
def _keep_best(t: Facts, s: State, out: Numbers, kept: Rows, old_costs: Numbers, size: int) -> None:
    s.best_rows[:] = s.rows
    s.best_cost[:] = s.cost
    for i in range(size):
        _copy_back(t, s.best_rows, kept, i, out[i])
        s.best_cost[out[i]] = old_costs[i]


@njit(cache=True, nogil=True)
def _copy_out(t: Facts, rows: Rows, kept: Rows, i: int, v: int) -> None:
    first = of_vehicle(t, v, at.V_FIRST)
    for n in range(first, of_vehicle(t, v, at.V_STOP)):
        for c in range(at.R_WIDTH):
            kept[i, n - first, c] = rows[n, c]


@njit(cache=True, nogil=True)
def _copy_back(t: Facts, rows: Rows, kept: Rows, i: int, v: int) -> None:
    first = of_vehicle(t, v, at.V_FIRST)
    for n in range(first, of_vehicle(t, v, at.V_STOP)):
        for c in range(at.R_WIDTH):
            rows[n, c] = kept[i, n - first, c]


@njit(cache=True, nogil=True)
def _choose(t: Facts, s: State, desk: Words, out: Numbers, most: int) -> int:
    """A vehicle, mostly one that costs more than it need, and others it competes with."""
    count = s.loose.shape[0]
    seed = _by_excess(s, desk) if share(desk) < 0.4 else _dearest_of_few(s, desk)
    wanted = min(count, 1 + below(desk, most))
    out[0] = seed
    size = 1
    if wanted > 1 and share(desk) < 0.5:
        size = _in_its_way(t, s, desk, out, wanted)
    return _here_then(t, s, desk, out, size, wanted)


@njit(cache=True, nogil=True)
def _dearest_of_few(s: State, desk: Words) -> int:
    seed, worst = -1, -1
    for _ in range(1 + below(desk, 4)):
        v = s.loose[below(desk, s.loose.shape[0])]
        extra = s.cost[v] - s.alone[v]
        if extra > worst or seed < 0:
            seed, worst = v, extra
    return seed


@njit(cache=True, nogil=True)
def _by_excess(s: State, desk: Words) -> int:
    """A vehicle with a chance in proportion to what it costs more than it need."""
    excess = 0
    for v in s.loose:
        excess += max(0, s.cost[v] - s.alone[v])
    passed = share(desk) * excess
    for v in s.loose:
        passed -= max(0, s.cost[v] - s.alone[v])
        if passed <= 0.0:
            return v
    return s.loose[below(desk, s.loose.shape[0])]


@njit(cache=True, nogil=True)
def _here_then(t: Facts, s: State, desk: Words, out: Numbers, size: int, wanted: int) -> int:
    """Add vehicles by chance that are here about when the first one is."""
    count, seed = s.loose.shape[0], out[0]
    begins = s.rows[of_vehicle(t, seed, at.V_FIRST), at.R_CELL]
    ends = s.rows[of_vehicle(t, seed, at.V_STOP) - 1, at.R_STOP]
    reach = max(12, count // 6)
    for _ in range(8 * wanted):
        if size >= wanted:
            break
        near = s.rank[seed] + below(desk, 2 * reach + 1) - reach
        if near < 0 or near >= count:
            continue
        v = s.loose[near]
        starts = s.rows[of_vehicle(t, v, at.V_FIRST), at.R_CELL]
        stops = s.rows[of_vehicle(t, v, at.V_STOP) - 1, at.R_STOP]
        if stops >= begins - 12 and starts <= ends + 12 and not _among(out, size, v):
            out[size] = v
            size += 1
    return size


@njit(cache=True, nogil=True)
def _among(out: Numbers, size: int, v: int) -> bool:
    for i in range(size):
        if out[i] == v:
            return True
    return False


@njit(cache=True, nogil=True)
def _in_its_way(t: Facts, s: State, desk: Words, out: Numbers, wanted: int) -> int:
    """Add vehicles that have what one operation of the first uses while it waits for it."""
    seed, count = out[0], s.loose.shape[0]
    first, stop = of_vehicle(t, seed, at.V_FIRST), of_vehicle(t, seed, at.V_STOP)
    n, longest = first, -1
    ready = cells_of(of_vehicle(t, seed, at.V_RELEASE))
    begins = ready
    for m in range(first, stop):
        waits = s.rows[m, at.R_CELL] - ready + below(desk, 12)
        if waits > longest:
            n, longest, begins = m, waits, ready
        ready = s.rows[m, at.R_STOP]
    ends = s.rows[n, at.R_STOP]
    if longest > 0:
        # Room in one place serves it, not a little everywhere.
        begins += below(desk, longest)
        ends = min(ends, begins + 3 * of_operation(t, n, at.OP_CELLS))
    reach = max(30, count // 4)
    size, low = 1, max(0, s.rank[seed] - reach)
    span = min(count, s.rank[seed] + reach + 1) - low
    turn = below(desk, span)
    for i in range(span):
        if size >= wanted:
            break
        v = s.loose[low + (i + turn) % span]
        if v != seed and _competes(t, s, v, n, begins, ends):
            out[size] = v
            size += 1
    return size


@njit(cache=True, nogil=True)
def _competes(t: Facts, s: State, v: int, n: int, begins: int, ends: int) -> bool:
    """Whether a vehicle uses a person, unit or place of the row `n` within those cells."""
    first, stop = of_vehicle(t, v, at.V_FIRST), of_vehicle(t, v, at.V_STOP)
    if s.rows[first, at.R_CELL] >= ends or s.rows[stop - 1, at.R_STOP] <= begins:
        return False
    for m in range(first, stop):
        if s.rows[m, at.R_CELL] >= ends:
            return False
        if s.rows[m, at.R_STOP] <= begins:
            continue
        if s.rows[m, at.R_TECHNICIAN] == s.rows[n, at.R_TECHNICIAN]:
            return True
        if s.rows[m, at.R_PLACE] == s.rows[n, at.R_PLACE] and of_place(
            t, s.rows[m, at.R_PLACE], at.P_ZONE_COUNT
        ):
            return True
        for u in range(of_operation(t, n, at.OP_UNIT_COUNT)):
            for w in range(of_operation(t, m, at.OP_UNIT_COUNT)):
                if s.rows[m, at.R_UNITS + w] == s.rows[n, at.R_UNITS + u]:
                    return True
    return False


@njit(cache=True, nogil=True)
def _sort(
    t: Facts,
    s: State,
    desk: Words,
    out: Numbers,
    keys: NDArray[np.float64],
    size: int,
) -> None:
    """An order to put them back in: by chance, by promise, by weight, by what they lost."""
    how = below(desk, 10)
    for i in range(size):
        v = out[i]
        if how < 4:
            keys[i] = share(desk)
        elif how < 6:
            keys[i] = of_vehicle(t, v, at.V_DUE)
        elif how < 8:
            keys[i] = -of_vehicle(t, v, at.V_LATE_COST) + share(desk)
        elif how < 9:
            keys[i] = float(s.alone[v] - s.cost[v])
        else:
            keys[i] = float(of_vehicle(t, v, at.V_RELEASE)) + share(desk)
    for i in range(1, size):
        j = i
        while j > 0 and keys[j - 1] > keys[j]:
            keys[j - 1], keys[j] = keys[j], keys[j - 1]
            out[j - 1], out[j] = out[j], out[j - 1]
            j -= 1
