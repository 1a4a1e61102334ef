"""What ties the operations of one vehicle together: order, moves, parking, shared set-up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise, product
from typing import TYPE_CHECKING

from bays.planner.model.tasks import Alike, Bool, Expr, Task
from bays.planner.problem import Problem

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder


def add_ways(build: Builder, tasks: Sequence[Task]) -> None:
    _arrive(build, tasks[0])
    for before, after in pairwise(tasks):
        _follow(build, before, after)
    tasks[-1].leaves = tasks[-1].end


def share_set_up(build: Builder, tasks: Sequence[Task]) -> None:
    for before, after in pairwise(tasks):
        if after.shared is not None:
            _share(build, before, after)


def _arrive(build: Builder, task: Task) -> None:
    problem, model = build.problem, build.model
    stands = task.vehicle.stands or problem.lot
    moving = []
    for name, literal in task.places.items():
        gap = problem.travel_minutes(stands, name)
        if gap:
            moving.append(literal)
        if task.pin is None:
            soonest = task.vehicle.release + max(gap, task.operation.lag)
            model.add(task.start >= soonest).only_enforce_if(literal)
    task.moves = sum(moving)
    if problem.technicians_drive:
        gaps = {name: problem.travel_minutes(stands, name) for name in task.places}
        task.drive = sum(gaps[name] * literal for name, literal in task.places.items())


def _follow(build: Builder, before: Task, after: Task) -> None:
    model = build.model
    facts = before.pin is not None and after.pin is not None
    if not facts:
        model.add(after.start >= before.end + after.operation.lag)
    before.parked = _parked(build, before)
    before.same = _same(build, before, after)
    before.leaves = build.minute(f"leaves {before.name}", 0, build.latest)
    model.add(before.leaves >= before.end)
    model.add(before.parked + before.same <= 1)
    model.add(before.leaves >= after.start).only_enforce_if(before.same)
    moves = model.new_int_var(0, 2, f"moves {after.name}")
    after.moves = moves
    if build.problem.technicians_drive:
        after.drive = build.minute(f"drive to {after.name}", 0, build.latest)
    here, there = _alike(build, before), _alike(build, after)
    for (_, (one, at)), (_, (other, to)) in product(here.items(), there.items()):
        _move(build, before, after, (one, at), (other, to), facts)


def _move(
    build: Builder,
    before: Task,
    after: Task,
    here: tuple[str, Bool],
    there: tuple[str, Bool],
    facts: bool,
) -> None:
    """One kind of way, straight on or by the lot; `here` and `there` stand for their kinds."""
    problem, model = build.problem, build.model
    gap = _travel(problem, here[0], there[0])
    assert before.parked is not None
    assert before.same is not None
    straight = (here[1], there[1], before.parked.negated(), before.same.negated())
    if not facts:
        model.add(after.start >= before.end + gap).only_enforce_if(*straight)
    model.add(before.leaves >= after.start - gap).only_enforce_if(*straight)
    if build.problem.technicians_drive:
        model.add(after.drive == gap).only_enforce_if(*straight)
        model.add(after.drive == 0).only_enforce_if(before.same)
        fetch = problem.travel_minutes(problem.lot, there[0])
        model.add(after.drive == fetch).only_enforce_if(here[1], there[1], before.parked)
    if gap:
        model.add(after.moves >= 1).only_enforce_if(*straight)
    out = problem.travel_minutes(here[0], problem.lot)
    back = problem.travel_minutes(problem.lot, there[0])
    parked = (here[1], there[1], before.parked)
    if not facts and out + back:
        model.add(after.start >= before.end + out + back).only_enforce_if(*parked)
    if out or back:
        model.add(after.moves >= (out > 0) + (back > 0)).only_enforce_if(*parked)


def _travel(problem: Problem, here: str, there: str) -> int:
    """Minutes between two different placements of these kinds."""
    places = problem.placements[here], problem.placements[there]
    if any(place.kind == "road" for place in places):
        return 0
    if here != there:
        return problem.travel_minutes(here, there)
    if places[0].drive_minutes is None:
        return problem.move_minutes
    return 2 * problem.drive_minutes(here)


def _alike(build: Builder, task: Task) -> dict[object, tuple[str, Bool]]:
    """Placements between which ways take equally long: one of each, and whether it is in any."""
    kinds: dict[object, list[str]] = defaultdict(list)
    for name in task.places:
        place = build.problem.placements[name]
        kinds[place.kind, place.drive_minutes].append(name)
    return {
        kind: (names[0], build.either([task.places[name] for name in names]))
        for kind, names in kinds.items()
    }


def _parked(build: Builder, task: Task) -> Bool:
    """Whether it is parked afterwards; only from the floor is there anything to gain."""
    floor = [
        literal
        for name, literal in task.places.items()
        if build.problem.placements[name].kind == "floor"
    ]
    if not floor:
        return build.false
    parked = build.model.new_bool_var(f"parked {task.name}")
    build.model.add(parked <= sum(floor))
    return parked


def _same(build: Builder, before: Task, after: Task) -> Bool:
    model = build.model
    both = []
    for name in before.places.keys() & after.places.keys():
        if len(before.places) == len(after.places) == 1:
            return model_same(build, before)
        literal = model.new_bool_var(f"{before.name} stays in {name}")
        model.add_implication(literal, before.places[name])
        model.add_implication(literal, after.places[name])
        both.append(literal)
    if not both:
        return build.false
    same = model.new_bool_var(f"{before.name} stays")
    model.add(same == sum(both))
    assert before.parked is not None
    for name in before.places.keys() & after.places.keys():
        model.add_bool_or(
            same,
            before.parked,
            before.places[name].negated(),
            after.places[name].negated(),
        )
    return same


def model_same(build: Builder, before: Task) -> Bool:
    """Both are done in the only place there is: they stay unless parked in between."""
    assert before.parked is not None
    return before.parked.negated()


def _share(build: Builder, before: Task, after: Task) -> None:
    """Set-up is shared exactly where nothing needs to be cleared away in between."""
    model, shared = build.model, after.shared
    assert shared is not None
    assert before.same is not None
    model.add_implication(shared, before.same)
    model.add(after.start == before.end).only_enforce_if(shared)
    later = model.new_bool_var(f"{after.name} waits")
    model.add(after.start >= before.end + 1).only_enforce_if(later)
    model.add_bool_or(shared, later, before.same.negated(), *_other_units(build, before, after))


def _other_units(build: Builder, before: Task, after: Task) -> list[Bool]:
    """Literals, one of which is true where the two use different units; none when shared."""
    model, shared = build.model, after.shared
    different = []
    for alike in {alike for kinds in build.alike_units.values() for alike in kinds}:
        first, second = _used(before, alike), _used(after, alike)
        if isinstance(first, int) and isinstance(second, int) and first == second:
            continue
        model.add(first == second).only_enforce_if(shared)
        literal = model.new_bool_var(f"{after.name} {alike.one} differs")
        model.add(first != second).only_enforce_if(literal)
        different.append(literal)
    return different


def _used(task: Task, alike: Alike) -> Expr:
    if task.pin is not None:
        return sum(unit in alike.members for unit in task.pin.units)
    return sum(task.units.get(alike, ()))
