"""The cheapest way of every vehicle at given prices of shared time, compiled.

A dynamic programme over operations, groups of placements and start cells. Taking a step costs
nothing to look up: the best way to have begun a state by a cell is a running minimum, so the work
is proportional to steps times cells.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from numba import njit

from bays.planner.relaxation.paths import NEVER, Ways

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Prices(NamedTuple):
    """Sums of prices by cell, from cell 0: of kinds of work, and of groups of placements."""

    work: Floats
    stand: Floats


class Packed(NamedTuple):
    """The arrays of `Ways` as the compiled search takes them."""

    first_operation: Ints
    first_state: Ints
    first_step: Ints
    low: Ints
    high: Ints
    otherwise: Floats
    work: Ints
    state_group: Ints
    static: Floats
    static_at: Ints
    steps: Ints
    step_cost: Floats


def packed(ways: Ways) -> Packed:
    lengths = [len(cost) for cost in ways.static]
    return Packed(
        np.array(ways.first_operation, np.int64),
        np.array(ways.first_state, np.int64),
        np.array(ways.first_step, np.int64),
        np.array([low for low, _ in ways.window], np.int64),
        np.array([high for _, high in ways.window], np.int64),
        np.array(ways.otherwise, np.float64),
        np.array(ways.work, np.int64).reshape(-1, 5),
        np.array(ways.state_group, np.int64),
        np.concatenate(ways.static) if ways.static else np.zeros(0),
        np.cumsum([0, *lengths]).astype(np.int64),
        np.array(
            [(s.source, s.target, s.after, s.leaves, s.holds) for s in ways.steps], np.int64
        ).reshape(-1, 5),
        np.array([s.cost for s in ways.steps], np.float64),
    )


class Table(NamedTuple):
    """One vehicle's dynamic programme; rows are its states, columns the cells of its window.

    `value` is the least cost of all up to and with a state begun in a cell and `step` how it was
    reached; `free` is the running minimum of `value`, and `keep` that of `value` less the price
    of standing there up to its end; `free_at` and `keep_at` say where the minimum was.
    """

    value: Floats
    step: Ints
    free: Floats
    free_at: Ints
    keep: Floats
    keep_at: Ints


@njit(cache=True, nogil=True)
def table(ways: Packed, vehicle: int) -> Table:
    begin = ways.first_state[ways.first_operation[vehicle]]
    end = ways.first_state[ways.first_operation[vehicle + 1]]
    shape = (end - begin, ways.high[vehicle] - ways.low[vehicle])
    return Table(
        np.full(shape, NEVER),
        np.zeros(shape, np.int64),
        np.empty(shape),
        np.empty(shape, np.int64),
        np.empty(shape),
        np.empty(shape, np.int64),
    )


@njit(cache=True, nogil=True)
def own_costs(
    ways: Packed, prices: Prices, operation: int, state: int, low: int, out: Floats
) -> None:
    """What a state costs by itself for every start: the static cost and what its cells cost."""
    last = prices.work.shape[1] - 1
    work, helper = prices.work[ways.work[operation, 0]], prices.work[ways.work[operation, 2]]
    stand = prices.stand[ways.state_group[state]]
    length, helped, pays = ways.work[operation, 1], ways.work[operation, 3], ways.work[operation, 4]
    base = ways.static_at[state]
    for at in range(len(out)):
        fixed = ways.static[base + at]
        if fixed >= NEVER:
            out[at] = NEVER
            continue
        cell = at + low
        end = min(last, cell + length)
        out[at] = fixed + work[end] - work[cell]
        if pays:
            out[at] += stand[end] - stand[cell]
        if helped:
            out[at] += helper[min(last, cell + helped)] - helper[cell]


@njit(cache=True, nogil=True)
def reach(
    ways: Packed, prices: Prices, state: int, state_0: int, low: int, own: Floats, to: Table
) -> None:
    """Fill a state's row: the best step to it for every start, and its own cost on top."""
    row, span = state - state_0, len(own)
    value, by_step = to.value[row], to.step[row]
    value[:] = NEVER
    for step in range(ways.first_step[state], ways.first_step[state + 1]):
        source, after, leaves = ways.steps[step, 0], ways.steps[step, 2], ways.steps[step, 3]
        cost = ways.step_cost[step]
        if source < 0:
            for at in range(max(0, after - low), span):
                if cost < value[at]:
                    value[at], by_step[at] = cost, step
            continue
        holds = ways.steps[step, 4] == 1
        known = to.keep[source - state_0] if holds else to.free[source - state_0]
        held = prices.stand[ways.state_group[source]]
        for at in range(max(0, after), min(span, span + after)):
            through = known[at - after] + cost
            if holds:
                through += held[max(0, at + low - leaves)]
            if through < value[at]:
                value[at], by_step[at] = through, step
    for at in range(span):
        value[at] = min(NEVER, value[at] + own[at])


@njit(cache=True, nogil=True)
def run_on(
    ways: Packed, prices: Prices, operation: int, state: int, low: int, row: int, to: Table
) -> None:
    """Running minima of a finished row, for the steps that lead on from it."""
    last = prices.work.shape[1] - 1
    stand, length = prices.stand[ways.state_group[state]], ways.work[operation, 1]
    free, keep, free_at, keep_at = NEVER, NEVER, -1, -1
    for at in range(to.value.shape[1]):
        value = to.value[row, at]
        if value < free:
            free, free_at = value, at
        kept = value - stand[min(last, at + low + length)]
        if value < NEVER and kept < keep:
            keep, keep_at = kept, at
        to.free[row, at], to.free_at[row, at] = free, free_at
        to.keep[row, at], to.keep_at[row, at] = keep, keep_at


@njit(cache=True, nogil=True)
def forwards(ways: Packed, prices: Prices, vehicle: int, to: Table) -> None:
    first = ways.first_operation[vehicle]
    state_0, low = ways.first_state[first], ways.low[vehicle]
    own = np.empty(to.value.shape[1])
    for operation in range(first, ways.first_operation[vehicle + 1]):
        for state in range(ways.first_state[operation], ways.first_state[operation + 1]):
            own_costs(ways, prices, operation, state, low, own)
            reach(ways, prices, state, state_0, low, own, to)
            run_on(ways, prices, operation, state, low, state - state_0, to)


@njit(cache=True, nogil=True)
def cheapest(ways: Packed, prices: Prices, use: Prices, costs: Floats) -> None:
    """Every vehicle's least cost; adds what its way takes to `use`, as differences by cell."""
    for vehicle in range(len(costs)):
        to = table(ways, vehicle)
        forwards(ways, prices, vehicle, to)
        operation = ways.first_operation[vehicle + 1] - 1
        state_0 = ways.first_state[ways.first_operation[vehicle]]
        best, best_state, best_at = ways.otherwise[vehicle], -1, -1
        for state in range(ways.first_state[operation], ways.first_state[operation + 1]):
            for at in range(to.value.shape[1]):
                if to.value[state - state_0, at] < best:
                    best, best_state, best_at = to.value[state - state_0, at], state, at
        costs[vehicle] = best
        if best_state >= 0:
            take(ways, vehicle, best_state, best_at, to, use)


@njit(cache=True, nogil=True)
def take(ways: Packed, vehicle: int, state: int, at: int, to: Table, use: Prices) -> None:
    """Follow the best way back from its last state and add up what it uses."""
    low, last = ways.low[vehicle], use.work.shape[1] - 1
    operation = ways.first_operation[vehicle + 1] - 1
    state_0 = ways.first_state[ways.first_operation[vehicle]]
    while True:
        group, cell, (work, length, helper, helped, pays) = (
            ways.state_group[state], at + low, ways.work[operation],
        )  # fmt: skip
        use.work[work, cell] += 1
        use.work[work, min(last, cell + length)] -= 1
        use.work[helper, cell] += 1
        use.work[helper, min(last, cell + helped)] -= 1
        use.stand[group, cell] += pays
        use.stand[group, min(last, cell + length)] -= pays
        step = to.step[state - state_0, at]
        source, _, after, leaves, holds = ways.steps[step, :5]
        if source < 0:
            return
        operation -= 1
        row = source - state_0
        before = to.keep_at[row, at - after] if holds else to.free_at[row, at - after]
        if holds:
            held = ways.state_group[source]
            use.stand[held, min(last, before + low + ways.work[operation, 1])] += 1
            use.stand[held, max(0, cell - leaves)] -= 1
        state, at = source, before


@njit(cache=True, nogil=True)
def through(ways: Packed, prices: Prices, vehicle: int) -> Floats:
    """The least cost of the vehicle with each of its states begun in each cell of its window."""
    first, stop = ways.first_operation[vehicle], ways.first_operation[vehicle + 1]
    state_0, low = ways.first_state[first], ways.low[vehicle]
    to = table(ways, vehicle)
    forwards(ways, prices, vehicle, to)
    ahead = np.full(to.value.shape, NEVER)
    ahead[ways.first_state[stop - 1] - state_0 :] = 0.0
    own = np.empty(to.value.shape[1])
    for operation in range(stop - 1, first, -1):
        for state in range(ways.first_state[operation], ways.first_state[operation + 1]):
            own_costs(ways, prices, operation, state, low, own)
            for at in range(len(own)):
                own[at] = min(NEVER, own[at] + ahead[state - state_0, at])
            for step in range(ways.first_step[state], ways.first_step[state + 1]):
                back(ways, prices, operation, step, state_0, low, own, ahead)
    return np.minimum(NEVER, to.value + ahead)


@njit(cache=True, nogil=True)
def back(ways, prices, operation, step, state_0, low, onward, ahead):  # type: ignore[no-untyped-def]
    """Take a step backwards: what still lies ahead of its source, for every start there."""
    source, _, after, leaves, holds = ways.steps[step, :5]
    stand, length = prices.stand[ways.state_group[source]], ways.work[operation - 1, 1]
    span, last, least = len(onward), prices.work.shape[1] - 1, NEVER
    for at in range(span - 1, min(0, after) - 1, -1):
        if at >= 0 and onward[at] < NEVER:
            value = onward[at] + ways.step_cost[step]
            if holds:
                value += stand[max(0, at + low - leaves)]
            least = min(least, value)
        before = at - after
        if 0 <= before < span and least < NEVER:
            value = least
            if holds:
                value -= stand[min(last, before + low + length)]
            ahead[source - state_0, before] = min(ahead[source - state_0, before], value)
