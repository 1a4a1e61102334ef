"""How long moves take, reckoned for the checks alone."""

from __future__ import annotations

from bays.planner.problem import Problem, Vehicle


def lot_of(problem: Problem) -> str:
    return next(p.id for p in problem.placements.values() if p.kind == "lot")


def first_stand(problem: Problem, vehicle: Vehicle) -> str:
    """The placement the vehicle is in before its first operation."""
    return lot_of(problem) if vehicle.stands is None else vehicle.stands


def driving(problem: Problem, placement: str) -> int:
    """Minutes of one drive into a placement, or out of it; only the floor is driven into."""
    place = problem.placements[placement]
    if place.kind in ("lot", "road"):
        return 0
    return problem.move_minutes if place.drive_minutes is None else place.drive_minutes


def travel(problem: Problem, start: str, end: str) -> int:
    """Minutes between two placements: out of one and into the other."""
    if start == end:
        return 0
    there, here = problem.placements[start], problem.placements[end]
    if there.kind == "road" or here.kind == "road":
        return 0
    if there.drive_minutes is None and here.drive_minutes is None:
        return problem.move_minutes
    return driving(problem, start) + driving(problem, end)
