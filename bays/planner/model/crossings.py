"""Floor driven through: nobody drives over what another stands on, drives over, or is closed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, NamedTuple

from bays.planner.model.tasks import Bool, Expr, Task
from bays.planner.problem import Placement, Vehicle

if TYPE_CHECKING:
    from bays.planner.model.builder import Builder


class Piece(NamedTuple):
    """A zone taken by one vehicle for a while, if the literal is true; `fact` if all is fixed."""

    vehicle: str
    start: Expr
    end: Expr
    literal: Bool
    moves: bool
    fact: bool = False


class Drive(NamedTuple):
    """One way in or out of a placement; what is over by now is nobody's concern."""

    place: Placement
    start: Expr
    end: Expr
    literal: Bool
    fact: bool


def add_crossings(build: Builder, standing: dict[str, list[Piece]]) -> None:
    zones: dict[str, list[Piece]] = defaultdict(list)
    for vehicle in build.problem.vehicles:
        for drive in _drives(build, vehicle):
            start = build.not_before_now(drive.start)
            for zone in drive.place.crosses:
                piece = Piece(vehicle.id, start, drive.end, drive.literal, True, drive.fact)
                zones[zone].append(piece)
                _open(build, zone, piece)
    for zone, pieces in zones.items():
        for one, other in combinations([*pieces, *standing.get(zone, ())], 2):
            if one.vehicle != other.vehicle and (one.moves or other.moves):
                _apart(build, one, other)


def _drives(build: Builder, vehicle: Vehicle) -> Iterator[Drive]:
    tasks = [build.tasks[vehicle.id, operation.id] for operation in vehicle.operations]
    yield from _first(build, tasks[0])
    for before, after in pairwise(tasks):
        yield from _between(build, before, after)
    places = build.problem.placements
    for name, literal in tasks[-1].places.items():
        out = tasks[-1].end + build.problem.drive_minutes(name)
        yield Drive(places[name], tasks[-1].end, out, literal, tasks[-1].pin is not None)


def _first(build: Builder, task: Task) -> Iterator[Drive]:
    problem, fact = build.problem, task.pin is not None
    stands = task.vehicle.stands or problem.lot
    for name, literal in task.places.items():
        if name == stands:
            continue
        goes = task.start - problem.travel_minutes(stands, name)
        gone = goes + problem.drive_minutes(stands)
        yield Drive(problem.placements[stands], goes, gone, literal, fact)
        yield _way_in(build, task, name, literal, fact)


def _way_in(build: Builder, task: Task, name: str, literal: Bool, fact: bool) -> Drive:
    starts = task.start - build.problem.drive_minutes(name)
    return Drive(build.problem.placements[name], starts, task.start, literal, fact)


def _between(build: Builder, before: Task, after: Task) -> Iterator[Drive]:
    """The way out of where it stood, straight on or to the lot, and the way in."""
    problem = build.problem
    assert before.parked is not None
    assert before.same is not None
    fact = before.pin is not None and after.pin is not None
    for name, literal in after.places.items():
        if problem.placements[name].crosses:
            comes = build.both(literal, before.same.negated())
            yield _way_in(build, after, name, comes, fact)
    for name, literal in before.places.items():
        place, out = problem.placements[name], problem.drive_minutes(name)
        if not place.crosses:
            continue
        fetched = build.both(literal, before.parked)
        if problem.lot in after.places:  # parked there already: the way out is not judged
            fetched = build.both(fetched, after.places[problem.lot].negated())
        yield Drive(place, before.end, before.end + out, fetched, fact)
        straight = build.both(literal, before.parked.negated())
        for other, to in after.places.items():
            if other == name:
                continue
            gap = problem.travel_minutes(name, other)
            goes = build.later_of(before.end, after.start - gap)
            yield Drive(place, goes, goes + out, build.both(straight, to), fact)


def _open(build: Builder, zone: str, piece: Piece) -> None:
    """Not while the floor is closed to the vehicle."""
    if piece.fact:
        return
    for block in build.problem.blocked:
        if block.resource_id == zone and block.vehicle != piece.vehicle:
            window = Piece("", block.window.start, block.window.end, build.true, False, True)
            _apart(build, piece, window)


def _apart(build: Builder, one: Piece, other: Piece) -> None:
    if one.fact and other.fact:
        return
    model, now = build.model, build.problem.now
    build.count_pair()
    ways = [model.new_bool_var("") for _ in range(2)]
    model.add(one.end <= other.start).only_enforce_if(ways[0])
    model.add(other.end <= one.start).only_enforce_if(ways[1])
    for piece in (one, other):
        if piece.moves and not piece.fact:
            over = model.new_bool_var("")
            model.add(piece.end <= now).only_enforce_if(over)
            ways.append(over)
    model.add_bool_or(*ways, one.literal.negated(), other.literal.negated())
