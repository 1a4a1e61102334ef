"""Plans by the compiled engine: a first one at once, a better one in the time given."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from bays.planner.calendar import cell_at_or_after
from bays.planner.engine import columns as at
from bays.planner.engine.bits import Words
from bays.planner.engine.chance import stream
from bays.planner.engine.facts import Numbers, Rows
from bays.planner.engine.halves import search_halves
from bays.planner.engine.holding_cells import cost_of, hold_rows
from bays.planner.engine.placing import place_vehicle
from bays.planner.engine.rounds import Budget, run_round
from bays.planner.engine.ruin import Mood, State
from bays.planner.engine.slots import desk_for
from bays.planner.engine.tables import Compiled, fill_row
from bays.planner.engine.taken import crowded
from bays.planner.holding import rows_by_vehicle
from bays.planner.problem import Row

# Workers compare notes this often; whoever is behind goes on from the better plan.
ROUNDS = 24
CATCH_UP_FROM = 8
# From so many vehicles on, workers take one half of the time each.
SOME, MANY = 100, 250
# A shop so far behind its promises needs a warmer end as well.
HOT = 400.0


def first_plan(compiled: Compiled) -> Rows | None:
    """The cheapest of four orders a service writer might go by, each vehicle as soon as it can.

    By promise, by arrival, by slack, and by day and weight; vehicles with pinned rows come first.
    None when some vehicle found no room in any of them.
    """
    best: tuple[int, Rows] | None = None
    for order in _orders(compiled):
        found = _in_order(compiled, order)
        if found is not None and (best is None or found[0] < best[0]):
            best = found
    return None if best is None else best[1]


def _orders(compiled: Compiled) -> list[list[int]]:
    vehicles = compiled.problem.vehicles
    pinned = {row.vehicle for row in compiled.problem.pins}
    work = [sum(o.minutes for o in v.operations) for v in vehicles]
    day = 24 * 60
    keys: tuple[Callable[[int], tuple[int, ...]], ...] = (
        lambda n: (vehicles[n].due, vehicles[n].release),
        lambda n: (vehicles[n].release, vehicles[n].due),
        lambda n: (vehicles[n].due - work[n], vehicles[n].release),
        lambda n: (vehicles[n].release // day, -vehicles[n].weight, vehicles[n].due),
    )
    everyone = range(len(vehicles))
    return [sorted(everyone, key=lambda n: (vehicles[n].id not in pinned, *key(n))) for key in keys]


def _in_order(compiled: Compiled, order: Sequence[int]) -> tuple[int, Rows] | None:
    free, rows = compiled.free.copy(), compiled.rows.copy()
    desk, total = desk_for(free.shape[1], stream(0, 0)), 0
    for vehicle in order:
        cost = place_vehicle(compiled.facts, free, rows, desk, vehicle, 0.0, False)
        if cost < 0:
            return None
        total += cost
    return total, rows


def rows_as_table(compiled: Compiled, rows: Iterable[Row]) -> Rows:
    """A whole plan's rows in the engine's form."""
    table, problem = compiled.rows.copy(), compiled.problem
    numbers = {key: n for n, key in enumerate(problem.operation_by_key)}
    for vehicle, own in rows_by_vehicle(rows).items():
        stands, parked = problem.vehicle_by_id[vehicle].stands or problem.lot, False
        for row in own:
            target = table[numbers[row.key]]
            if row.key in problem.pin_by_key:
                target[at.R_PARK] = row.park_after
            else:
                fill_row(target, row, compiled.names, compiled.place_number)
                if problem.technicians_drive and (parked or stands != row.placement):
                    begins = problem.lot if parked else stands
                    minutes = problem.travel_minutes(begins, row.placement)
                    target[at.R_WAY] = cell_at_or_after(minutes)
            stands, parked = row.placement, row.park_after
    return table


def table_as_rows(compiled: Compiled, table: Rows) -> tuple[Row, ...]:
    """The engine's rows in the planner's form; pinned ones keep all but where they park."""
    resources, places = compiled.names.resources, compiled.names.places
    pins, rows = compiled.problem.pin_by_key, []
    for n, (key, operation) in enumerate(compiled.problem.operation_by_key.items()):
        line = table[n]
        parks = bool(line[at.R_PARK] == 1)
        if key in pins:
            pin = pins[key]
            rows.append(_parked(pin, parks))
            continue
        count = len(operation.equipment) + len(operation.exact_units)
        second = int(line[at.R_SECOND])
        rows.append(
            Row(
                vehicle=key[0],
                operation=key[1],
                start=int(line[at.R_CELL]) * at.CELL_MINUTES,
                end=int(line[at.R_END_MINUTE]),
                technician=resources[line[at.R_TECHNICIAN]],
                second_person=resources[second] if second >= 0 else None,
                units=tuple(resources[u] for u in line[at.R_UNITS : at.R_UNITS + count]),
                placement=places[line[at.R_PLACE]],
                park_after=parks,
            )
        )
    return tuple(rows)


def _parked(row: Row, parks: bool) -> Row:
    return row if row.park_after == parks else replace(row, park_after=parks)


def better_rows(compiled: Compiled, table: Rows, budget: Budget, seed: int, workers: int) -> Rows:
    """Ruin and recreate from a plan on; the rows of the cheapest plan found.

    Vehicles whose rows share a cell with somebody else's, as rows off the grid can, stay.
    """
    loose = _loose(compiled, table)
    if loose.size == 0:
        return table
    if workers > 1 and loose.size >= MANY:
        state = _state(compiled, table, loose)
        return search_halves(compiled, state, _mood(state), budget, seed)
    states = [_state(compiled, table, loose) for _ in range(max(1, workers))]
    desks = [
        desk_for(compiled.free.shape[1], stream(seed, number)) for number in range(len(states))
    ]
    mood = _mood(states[0])
    if len(states) == 1:
        run_round(compiled.facts, states[0], desks[0], mood, budget, 0.0, 1.0)
    else:
        _together(compiled, states, desks, mood, budget)
    best = min(states, key=lambda state: int(state.total[1]))
    return best.best_rows


def _loose(compiled: Compiled, table: Rows) -> Numbers:
    stuck = crowded(compiled, table)
    vehicles = compiled.problem.vehicles
    pins = compiled.problem.pin_by_key
    free = [
        n
        for n, vehicle in enumerate(vehicles)
        if not stuck[n] and any((vehicle.id, o.id) not in pins for o in vehicle.operations)
    ]
    return np.array(sorted(free, key=lambda n: (vehicles[n].release, n)), dtype=np.int64)


def _state(compiled: Compiled, table: Rows, loose: Numbers) -> State:
    facts, count = compiled.facts, len(compiled.problem.vehicles)
    free, rows = compiled.free.copy(), table.copy()
    cost = np.zeros(count, dtype=np.int64)
    for vehicle in range(count):
        hold_rows(facts, free, rows, vehicle, False)
        cost[vehicle] = cost_of(facts, rows, vehicle)
    rank = np.full(count, -1, dtype=np.int64)
    rank[loose] = np.arange(len(loose))
    alone = np.zeros(count, dtype=np.int64)
    total = int(cost[loose].sum())
    state = State(
        free, rows, cost, rows.copy(), cost.copy(), loose, rank, alone,
        np.array([total, total, 0], dtype=np.int64),
    )  # fmt: skip
    _least(compiled, state)
    return state


def _least(compiled: Compiled, state: State) -> None:
    """What each vehicle costs alone in the shop, planned as soon as it can be."""
    desk, rows = desk_for(compiled.free.shape[1], stream(0, 0)), compiled.rows.copy()
    free = compiled.free.copy()
    for vehicle in state.loose:
        cost = place_vehicle(compiled.facts, free, rows, desk, vehicle, 0.0, False)
        if cost >= 0:
            hold_rows(compiled.facts, free, rows, vehicle, True)
            state.alone[vehicle] = cost


def _mood(state: State) -> Mood:
    """Temperatures by what the plan costs beyond the least, a vehicle; found by trying."""
    count = len(state.loose)
    excess = int(state.total[0]) - int(state.alone[state.loose].sum())
    crowded = SOME <= count < MANY
    hot = max(25.0, (1.0 if crowded else 0.15) * excess / count)
    return Mood(hot, 20.0 if crowded and hot > HOT else 3.0, 5 if count >= SOME else 8, 0.02)


def _together(
    compiled: Compiled,
    states: Sequence[State],
    desks: Sequence[Words],
    mood: Mood,
    budget: Budget,
) -> None:
    with ThreadPoolExecutor(len(states)) as pool:
        for number in range(ROUNDS):
            shares = number / ROUNDS, (number + 1) / ROUNDS
            jobs = [
                pool.submit(run_round, compiled.facts, state, desk, mood, budget, *shares)
                for state, desk in zip(states, desks, strict=True)
            ]
            for job in jobs:
                job.result()
            if number >= CATCH_UP_FROM:
                _catch_up(states)


def _catch_up(states: Sequence[State]) -> None:
    """Those behind go on from where the best one is."""
    leader = min(states, key=lambda state: int(state.total[0]))
    for state in states:
        if state is leader or state.total[0] == leader.total[0]:
            continue
        state.free[:], state.rows[:], state.cost[:] = leader.free, leader.rows, leader.cost
        state.total[0] = leader.total[0]
        if state.total[0] < state.total[1]:
            state.total[1] = state.total[0]
            state.best_rows[:], state.best_cost[:] = state.rows, state.cost
