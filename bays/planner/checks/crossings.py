"""Nobody drives through floor that somebody else stands on or drives over, or that is closed.

What is over by now is not judged, and neither are the moves of rows that are all fixed: where
they begin and end is a fact.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bays.planner.answers import Rule, Violation
from bays.planner.checks.books import departures
from bays.planner.checks.travel import driving, first_stand, lot_of, travel
from bays.planner.problem import Problem, Row, Vehicle


@dataclass(frozen=True, slots=True)
class _Taken:
    """A zone for a while: driven through, or stood on; `fixed` where nothing can change it."""

    start: int
    end: int
    rows: tuple[Row, ...]
    moves: bool
    fixed_until: int

    @property
    def vehicle(self) -> str:
        return self.rows[0].vehicle


def check_crossings(problem: Problem, rows: Sequence[Row]) -> Iterator[Violation]:
    """Every zone driven through is free of other vehicles and open for the minutes of the move."""
    if not any(place.crosses for place in problem.placements.values()):
        return
    pins = {(row.vehicle, row.operation) for row in problem.pins}
    zones: dict[str, list[_Taken]] = defaultdict(list)
    for vehicle in problem.vehicles:
        for placement, start, end, causes in _drives(problem, vehicle, rows):
            fixed = all((row.vehicle, row.operation) in pins for row in causes)
            taken = _Taken(max(start, problem.now), end, causes, True, end if fixed else start)
            for zone in problem.placements[placement].crosses:
                zones[zone].append(taken)
    for row, leaves in departures(problem, rows):
        fact = row.end if (row.vehicle, row.operation) in pins else row.start
        for zone in problem.placements[row.placement].zones & zones.keys():
            zones[zone].append(_Taken(row.start, leaves, (row,), False, fact))
    for zone, entries in zones.items():
        yield from _meetings(zone, entries)
        yield from _closed(problem, zone, entries)


def _drives(
    problem: Problem, vehicle: Vehicle, rows: Sequence[Row]
) -> Iterator[tuple[str, int, int, tuple[Row, ...]]]:
    """Placement driven into or out of, from and until, and the rows that make it so."""
    planned = {row.operation: row for row in rows if row.vehicle == vehicle.id}
    own = [planned.get(operation.id) for operation in vehicle.operations]
    stands: str | None = first_stand(problem, vehicle)
    before: Row | None = None
    for row in own:
        if row is None:
            stands, before = None, None
            continue
        came_from = lot_of(problem) if before is not None and before.park_after else stands
        causes = (row,) if before is None else (before, row)
        if came_from != row.placement:
            if stands is not None:
                goes = row.start - travel(problem, stands, row.placement)
                if before is not None:
                    goes = before.end if before.park_after else max(before.end, goes)
                yield stands, goes, goes + driving(problem, stands), causes
            starts = row.start - driving(problem, row.placement)
            yield row.placement, starts, row.start, causes
        stands, before = row.placement, row
    if before is not None and own[-1] is before:
        ends = before.end + driving(problem, before.placement)
        yield before.placement, before.end, ends, (before,)


def _meetings(zone: str, entries: list[_Taken]) -> Iterator[Violation]:
    active: list[_Taken] = []
    for entry in sorted(entries, key=lambda e: (e.start, e.end)):
        if entry.start >= entry.end:
            continue
        active = [other for other in active if other.end > entry.start]
        for other in active:
            if other.vehicle == entry.vehicle or not (other.moves or entry.moves):
                continue
            if min(other.end, entry.end) > min(other.fixed_until, entry.fixed_until):
                yield _meeting(zone, *((entry, other) if entry.moves else (other, entry)))
        active.append(entry)


def _meeting(zone: str, driven: _Taken, other: _Taken) -> Violation:
    does = "drives through" if other.moves else "stands on"
    says = f"{driven.vehicle} drives through {zone} while {other.vehicle} {does} it"
    return Violation(Rule.CROSSING, says, tuple(dict.fromkeys((*driven.rows, *other.rows))))


def _closed(problem: Problem, zone: str, entries: list[_Taken]) -> Iterator[Violation]:
    for block in problem.blocked:
        if block.resource_id != zone:
            continue
        for entry in entries:
            own = block.vehicle == entry.vehicle
            meets = max(entry.start, entry.fixed_until, block.window.start)
            if entry.moves and not own and meets < min(entry.end, block.window.end):
                says = f"{entry.vehicle} drives through {zone}: {block.reason}"
                yield Violation(Rule.CROSSING, says, entry.rows)
