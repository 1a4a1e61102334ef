"""Say what a re-plan changes, in words."""

from __future__ import annotations

from collections.abc import Iterable

from bays.planner.answers import Change, Plan, PromiseMove
from bays.planner.problem import Problem, Row


def list_changes(
    problem: Problem, before: Iterable[Row], after: Iterable[Row]
) -> tuple[Change, ...]:
    """Every operation that is not exactly as it was, in order of its new start."""
    old, new = ({row.key: row for row in rows} for rows in (before, after))
    keys = sorted(
        (key for key in old.keys() | new.keys() if old.get(key) != new.get(key)),
        key=lambda key: ((new.get(key) or old[key]).start, key),
    )
    return tuple(
        Change(*key, old.get(key), new.get(key), _says(problem, old.get(key), new.get(key)))
        for key in keys
    )


def _says(problem: Problem, old: Row | None, new: Row | None) -> str:
    row = new or old
    assert row is not None
    label = problem.vehicle_by_id[row.vehicle].label
    name = f"{label}, {problem.operation_by_key[row.key].name}"
    if new is None:
        return f"{name}: taken out"
    place = problem.placements[new.placement].label
    person = _person(problem, new.technician)
    if old is None:
        return f"{name}: new, {problem.clock(new.start)}, {place}, {person}"
    return f"{name}: {', '.join(_differences(problem, old, new))}"


def _differences(problem: Problem, old: Row, new: Row) -> list[str]:
    said = []
    if old.start != new.start:
        said.append(f"{problem.clock(old.start)} becomes {problem.clock(new.start)}")
    if old.end - old.start != new.end - new.start:
        said.append(f"ends {problem.clock(new.end)} instead of {problem.clock(old.end)}")
    if old.technician != new.technician:
        people = _person(problem, new.technician), _person(problem, old.technician)
        said.append(f"{people[0]} instead of {people[1]}")
    if old.second_person != new.second_person:
        helper = _person(problem, new.second_person) if new.second_person else "nobody"
        said.append(f"second person {helper}")
    if old.placement != new.placement:
        places = problem.placements
        said.append(f"{places[new.placement].label} instead of {places[old.placement].label}")
    if sorted(old.units) != sorted(new.units):
        labels = " and ".join(problem.unit_by_id[unit].label for unit in new.units)
        said.append(f"with {labels}")
    if old.park_after != new.park_after:
        said.append("parked afterwards" if new.park_after else "stays afterwards")
    return said or ["units in another order"]


def _person(problem: Problem, technician: str) -> str:
    known = problem.technician_by_id.get(technician)
    return known.name if known else technician


def list_promise_moves(problem: Problem, before: Plan, after: Plan) -> tuple[PromiseMove, ...]:
    """Vehicles past their promise that were not, or were less so, in the plan before."""
    finish = {row.vehicle: row.end for row in sorted(after.rows, key=lambda row: row.end)}
    moves = []
    for vehicle, minutes in sorted(after.late.items()):
        if minutes <= before.late.get(vehicle, 0):
            continue
        known = problem.vehicle_by_id[vehicle]
        says = (
            f"{known.label} is done at {problem.clock(finish[vehicle])}, "
            f"{minutes} minutes after the promised {problem.clock(known.due)}"
        )
        moves.append(PromiseMove(vehicle, known.due, finish[vehicle], minutes, says))
    return tuple(moves)
