"""Plan a whole problem the way a good service writer would: by promised time, soonest first."""

from __future__ import annotations

from collections.abc import Iterable

from bays.planner.answers import Infeasible, ModelError, NotProved, Plan
from bays.planner.binding import binding_of_stuck
from bays.planner.calendar import (
    Calendar,
    at_least,
    cell_at_or_after,
    first_cell,
    from_cell,
    starts_of,
)
from bays.planner.costs import plan_of
from bays.planner.faults import model_error
from bays.planner.holding import rows_by_vehicle
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import GRID_MINUTES, Operation, Problem, Row, Vehicle
from bays.planner.slots import group_masks, length_in_cells, shortened


def dispatch(problem: Problem) -> Plan | Infeasible | NotProved | ModelError:
    """Place every vehicle, those with pins first and then by promised time (earliest due date).

    Done twice: people going on with the vehicle they are at, and whoever has the fewest skills
    first. The cheaper plan is the answer. Answers `Infeasible` only when a vehicle cannot be
    done before the horizon even alone in the shop with no moves to make, and `NotProved` when
    this order merely left it no room.
    """
    broken = model_error(problem)
    if broken is not None:
        return broken
    answers = [_dispatched(problem, follow=follow) for follow in (True, False)]
    plans = [answer for answer in answers if isinstance(answer, Plan)]
    return min(plans, key=lambda plan: plan.cost) if plans else answers[0]


def _dispatched(problem: Problem, *, follow: bool) -> Plan | Infeasible | NotProved:
    pinned = rows_by_vehicle(problem.pins)
    calendar = calendar_with(problem, problem.pins)
    placed: list[Row] = []
    for vehicle in sorted(problem.vehicles, key=lambda v: promise_order(v, v.id in pinned)):
        fixed = {row.operation: row for row in pinned.get(vehicle.id, [])}
        rows = insert(calendar, vehicle, fixed=fixed, follow=follow)
        if isinstance(rows, Stuck):
            return no_room(problem, vehicle, rows, [*problem.pins, *placed])
        calendar.occupy(rows)
        placed += rows
    return plan_of(problem, placed)


def promise_order(vehicle: Vehicle, has_pins: bool = False) -> tuple[bool, bool, int, int, str]:
    """Pins first, then what somebody waits for, by promise; what waits for quiet hours last."""
    return (not has_pins, not vehicle.flow_weight, vehicle.due, vehicle.release, vehicle.id)


def calendar_with(problem: Problem, rows: Iterable[Row]) -> Calendar:
    """The problem's calendar with the rows of any number of vehicles taken out of it."""
    calendar = Calendar(problem)
    for own in rows_by_vehicle(rows).values():
        calendar.occupy(own)
    return calendar


def no_room(
    problem: Problem, vehicle: Vehicle, stuck: Stuck, rows: Iterable[Row]
) -> Infeasible | NotProved:
    binding = binding_of_stuck(problem, rows, vehicle, stuck)
    if stuck.pin is None and not fits_alone(problem, vehicle):
        return Infeasible(vehicle.id, binding)
    says = f"no room was found for {vehicle.label} before {problem.clock(problem.horizon)}"
    return NotProved(vehicle.id, binding, f"{says}: {binding.says}")


def fits_alone(problem: Problem, vehicle: Vehicle) -> bool:
    """Whether the operations, one after another, end before the horizon in an empty shop.

    Moves are left out and every group of resources is taken by itself, so a `False` is a
    proof: each start found is no later than in any plan, and later starts only delay the rest.
    What could share its set-up is taken as if it did.
    """
    empty = Calendar(problem)
    ready = vehicle.release
    for number, full in enumerate(vehicle.operations):
        operation = _shortest(vehicle, number, full)
        pin = problem.pin_by_key.get((vehicle.id, operation.id))
        if pin is not None:
            ready = pin.end
            continue
        cells = length_in_cells(operation)
        mask = starts_of(empty.open, cells)
        for starts in group_masks(empty, operation).values():
            mask &= starts
        if not operation.anywhere:
            places = [problem.placements[name].zones for name in operation.placements]
            mask &= at_least(1, (_all_free(empty, zones, cells) for zones in places))
        soonest = max(problem.now, ready + operation.lag, operation.not_before)
        cell = first_cell(from_cell(mask, cell_at_or_after(soonest)))
        if cell is None:
            return False
        ready = cell * GRID_MINUTES + operation.minutes
    return True


def _shortest(vehicle: Vehicle, number: int, operation: Operation) -> Operation:
    before = vehicle.operations[number - 1].set_up if number else ""
    shares = operation.set_up and operation.set_up == before and not operation.lag
    return shortened(operation) if shares else operation


def _all_free(calendar: Calendar, zones: Iterable[str], cells: int) -> int:
    mask = (1 << calendar.cells) - 1
    for zone in zones:
        mask &= calendar.starts(zone, cells)
    return mask
