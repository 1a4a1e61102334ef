"""Contradictions in a question, found before anything is planned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator
from typing import TypeVar

from bays.planner.answers import ModelError
from bays.planner.problem import Operation, Problem, Vehicle, Window

Key = TypeVar("Key", bound=Hashable)


def model_error(problem: Problem) -> ModelError | None:
    """Every contradiction in the problem as one answer, or None when it can be planned."""
    faults = tuple(_faults(problem))
    return ModelError(says="; ".join(faults), faults=faults) if faults else None


def _faults(problem: Problem) -> Iterator[str]:
    yield from _frame(problem)
    yield from _resources(problem)
    for vehicle in problem.vehicles:
        yield from _vehicle(problem, vehicle)
    yield from _references(problem)


def _frame(problem: Problem) -> Iterator[str]:
    if problem.origin.tzinfo is None:
        yield "origin has no time zone"
    if problem.horizon <= max(0, problem.now):
        yield "the horizon does not reach past now"
    if problem.move_minutes < 0:
        yield "a move takes a negative time"
    if not any(p.kind == "lot" for p in problem.placements.values()):
        yield "there is no lot for vehicles to arrive in"
    yield from _windows("opening hours", problem.open)


def _windows(what: str, windows: Iterable[Window]) -> Iterator[str]:
    for window in windows:
        if window.start >= window.end:
            yield f"{what}: window {window.start}-{window.end} does not end after it starts"


def _resources(problem: Problem) -> Iterator[str]:
    ids = [
        *problem.every_zone,
        *(t.id for t in problem.technicians),
        *(u.id for u in problem.units),
    ]
    yield from (f"{name}: used for two resources" for name in _repeated(ids))
    for technician in problem.technicians:
        yield from _windows(f"shifts of {technician.name}", technician.shifts)
        for skill, windows in technician.skills.items():
            yield from _windows(f"skill {skill} of {technician.name}", windows)
    for unit in problem.units:
        yield from _windows(unit.label, unit.unavailable)
    for placement_id, placement in problem.placements.items():
        if placement.id != placement_id:
            yield f"placement {placement_id} is filed under another id"
        if placement.kind != "floor" and placement.zones:
            yield f"{placement.label}: lot and road own no zones"
        if placement.kind != "floor" and (placement.crosses or placement.drive_minutes is not None):
            yield f"{placement.label}: nobody drives in to the lot or the road"
        if placement.crosses & placement.zones:
            yield f"{placement.label}: a zone is its own and driven through as well"
        if placement.drive_minutes is not None and placement.drive_minutes < 0:
            yield f"{placement.label}: driving in takes a negative time"
        if placement.kind == "floor" and not placement.zones:
            yield f"{placement.label}: a place on the floor needs at least one zone"
    for block in problem.blocked:
        yield from _windows(f"block of {block.resource_id}", [block.window])
        if block.resource_id not in ids:
            yield f"block of {block.resource_id}: no such zone, technician or unit"


def _vehicle(problem: Problem, vehicle: Vehicle) -> Iterator[str]:
    if vehicle.stands is not None and vehicle.stands not in problem.placements:
        yield f"{vehicle.label}: stands in no known placement {vehicle.stands}"
    if not vehicle.operations:
        yield f"{vehicle.label}: no operations"
    for repeated in _repeated(operation.id for operation in vehicle.operations):
        yield f"{vehicle.label}: operation {repeated} twice"
    if vehicle.weight < 0 or vehicle.flow_weight < 0:
        yield f"{vehicle.label}: being late or here must not earn anything"
    for operation in vehicle.operations:
        yield from (f"{vehicle.label}, {fault}" for fault in _operation(problem, operation))


def _operation(problem: Problem, operation: Operation) -> Iterator[str]:
    if operation.minutes <= 0:
        yield f"{operation.name}: takes no time"
    if operation.lag < 0:
        yield f"{operation.name}: negative lag"
    if not 0 <= operation.second_person_minutes <= operation.minutes:
        yield f"{operation.name}: the second person stays longer than the operation"
    yield from _named_units(problem, operation)
    yield from _set_up(operation)
    for placement in operation.placements:
        if placement not in problem.placements:
            yield f"{operation.name}: no placement {placement}"


def _named_units(problem: Problem, operation: Operation) -> Iterator[str]:
    for unit in operation.exact_units:
        if unit not in problem.unit_by_id:
            yield f"{operation.name}: no unit {unit}"
    for unit in _repeated(operation.exact_units):
        yield f"{operation.name}: unit {unit} named twice"


def _set_up(operation: Operation) -> Iterator[str]:
    if operation.shared_minutes < 0:
        yield f"{operation.name}: sharing a set-up takes longer"
    if operation.shared_minutes and not operation.set_up:
        yield f"{operation.name}: shares a set-up that has no name"
    if operation.shared_minutes >= operation.minutes > 0:
        yield f"{operation.name}: takes no time when its set-up is shared"
    elif operation.second_person_minutes > operation.minutes - operation.shared_minutes > 0:
        yield f"{operation.name}: the second person stays longer than it lasts with set-up shared"


def _references(problem: Problem) -> Iterator[str]:
    for repeated in _repeated(vehicle.id for vehicle in problem.vehicles):
        yield f"vehicle {repeated} twice"
    for row in problem.pins:
        if row.key not in problem.operation_by_key:
            yield f"pin of {row.vehicle} {row.operation}: no such operation"
        if row.start >= row.end:
            yield f"pin of {row.vehicle} {row.operation}: does not end after it starts"
        if row.placement not in problem.placements:
            yield f"pin of {row.vehicle} {row.operation}: no placement {row.placement}"
        people = {row.technician, row.second_person} - {None}
        if not people <= problem.technician_by_id.keys():
            yield f"pin of {row.vehicle} {row.operation}: unknown technician"
        if not set(row.units) <= problem.unit_by_id.keys():
            yield f"pin of {row.vehicle} {row.operation}: unknown unit"
    for key in _repeated(row.key for row in problem.pins):
        yield f"{key} pinned twice"


def _repeated(items: Iterable[Key]) -> list[Key]:
    return [item for item, count in Counter(items).items() if count > 1]
