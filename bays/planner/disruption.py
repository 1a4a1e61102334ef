"""Turn what went wrong in the shop into a changed problem and the rows in force."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from bays.planner.answers import (
    Disruption,
    ModelError,
    Plan,
    RunsLong,
    TechnicianOut,
    UnitOut,
    Urgent,
    ZoneClosed,
)
from bays.planner.problem import Blocked, Operation, OperationKey, Problem, Row, Vehicle


@dataclass(frozen=True, slots=True)
class Broken:
    """The problem as it is now, and the plan's rows with what has started as it really is."""

    problem: Problem
    rows: tuple[Row, ...]


def after(
    problem: Problem, plan: Plan, now: int, disruption: Disruption | None
) -> Broken | ModelError:
    """Move on to `now`: rows that have started are pinned, the rest is measured against.

    The rows of the plan become `previous`, so that every change is paid for.
    """
    problem = replace(problem, now=now, previous=plan.rows)
    rows = plan.rows
    match disruption:
        case TechnicianOut(technician, window):
            name = technician
            if name not in problem.technician_by_id:
                return _unknown("technician", name)
            problem = _block(problem, Blocked(name, window, "away"))
        case UnitOut(unit, window):
            if unit not in problem.unit_by_id:
                return _unknown("unit", unit)
            problem = _block(problem, Blocked(unit, window, "out of service"))
        case ZoneClosed(zone, window):
            if zone not in problem.every_zone:
                return _unknown("zone", zone)
            problem = _block(problem, Blocked(zone, window, "closed"))
        case Urgent(vehicle):
            if vehicle.id in problem.vehicle_by_id:
                return ModelError(f"{vehicle.label} is already in the plan")
            problem = replace(problem, vehicles=(*problem.vehicles, vehicle))
        case RunsLong():
            changed = _lengthen(problem, rows, disruption)
            if isinstance(changed, ModelError):
                return changed
            problem, rows = changed.problem, changed.rows
        case None:
            pass
    return Broken(replace(problem, pins=_started(problem, rows, disruption)), rows)


def _unknown(what: str, name: str) -> ModelError:
    return ModelError(f"there is no {what} {name}")


def _block(problem: Problem, block: Blocked) -> Problem:
    return replace(problem, blocked=(*problem.blocked, block))


def _started(
    problem: Problem, rows: Iterable[Row], disruption: Disruption | None
) -> tuple[Row, ...]:
    """What may not move: rows that have started, and the pins there were.

    What comes after a running operation in its vehicle cannot have started, whatever the plan
    said.
    """
    pins = dict(problem.pin_by_key)
    waiting = _after_running(problem, disruption)
    for row in rows:
        if row.key in pins or (row.start < problem.now and row.key not in waiting):
            pins[row.key] = row
    return tuple(pins.values())


def _after_running(problem: Problem, disruption: Disruption | None) -> set[OperationKey]:
    if not isinstance(disruption, RunsLong) or disruption.new_end <= problem.now:
        return set()
    operations = [o.id for o in problem.vehicle_by_id[disruption.vehicle].operations]
    later = operations[operations.index(disruption.operation) + 1 :]
    return {(disruption.vehicle, operation) for operation in later}


def _lengthen(problem: Problem, rows: tuple[Row, ...], event: RunsLong) -> Broken | ModelError:
    """A started row ends later; one not yet started gets a longer operation."""
    row = next((r for r in rows if r.key == (event.vehicle, event.operation)), None)
    if row is None:
        return _unknown("planned operation", f"{event.vehicle} {event.operation}")
    if event.new_end <= row.start:
        return ModelError(f"{event.operation} cannot end before it starts")
    longer = tuple(replace(r, end=event.new_end) if r is row else r for r in rows)
    if row.start < problem.now:
        return Broken(problem, longer)
    minutes = event.new_end - row.start
    vehicles = tuple(
        _with_minutes(v, event.operation, minutes) if v.id == event.vehicle else v
        for v in problem.vehicles
    )
    return Broken(replace(problem, vehicles=vehicles), longer)


def _with_minutes(vehicle: Vehicle, operation: str, minutes: int) -> Vehicle:
    def changed(one: Operation) -> Operation:
        if one.id != operation:
            return one
        return replace(
            one,
            minutes=minutes,
            second_person_minutes=min(one.second_person_minutes, minutes),
            shared_minutes=0,  # it takes so long as it was planned, shared or not
        )

    return replace(vehicle, operations=tuple(changed(one) for one in vehicle.operations))
