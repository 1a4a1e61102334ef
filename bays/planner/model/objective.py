"""What a plan costs, as the sum the model makes small."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bays.planner.model.tasks import Expr, Task
from bays.planner.problem import Row

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder


def cost_of(build: Builder) -> Expr:
    total: Expr = 0
    for task in build.tasks.values():
        total += build.problem.costs.move * task.moves
        before = build.problem.previous_by_key.get(task.key)
        if before is not None:
            total += _changes(build, task, before)
        if task.last:
            total += _finish(build, task)
    return total


def _finish(build: Builder, task: Task) -> Expr:
    costs, vehicle = build.problem.costs, task.vehicle
    flow = costs.flow * vehicle.flow_weight
    late = build.model.new_int_var(0, max(1, build.latest - vehicle.due), f"late {vehicle.id}")
    build.model.add(late >= task.end - vehicle.due)
    build.late[vehicle.id] = late
    return costs.tardy * vehicle.weight * late + flow * (task.end - vehicle.release)


def _changes(build: Builder, task: Task, before: Row) -> Expr:
    costs = build.problem.costs
    if task.pin is not None:
        changed = (before.technician != task.pin.technician) + (
            before.placement != task.pin.placement
        )
        return costs.changed_start * (before.start != task.pin.start) + (
            costs.changed_resource * changed
        )
    moved = build.model.new_bool_var(f"{task.name} at another time")
    build.model.add(task.start == before.start).only_enforce_if(moved.negated())
    other = 1 - task.people.get(before.technician, 0)
    elsewhere = 1 - task.places.get(before.placement, 0)
    return costs.changed_start * moved + costs.changed_resource * (other + elsewhere)


def last_finish(build: Builder) -> Expr:
    """The minute by which everything is done, for problems in which only that counts."""
    finish = build.minute("finish", 0, build.latest)
    for task in build.tasks.values():
        build.model.add(finish >= task.end)
    return finish
