"""What rows hold and for how long, as the planners reckon it (the verifier has its own)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from bays.planner.problem import Operation, Problem, Row

STANDS, DRIVES_IN, DRIVES_OUT = "", "driving in", "driving out"
DRIVING = (DRIVES_IN, DRIVES_OUT)


class Hold(NamedTuple):
    """One resource taken by one row, in minutes.

    `why` says whether it is for the operation itself or for a move: into the row's placement,
    or out of where the vehicle stood before it, or, after its last row and when it is parked,
    out of the row's own.
    """

    resource: str
    start: int
    end: int
    row: Row
    why: str = STANDS


def rows_by_vehicle(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rows of each vehicle in order of their start."""
    grouped: dict[str, list[Row]] = defaultdict(list)
    for row in sorted(rows, key=lambda row: (row.start, row.end)):
        grouped[row.vehicle].append(row)
    return grouped


def leaves_at(problem: Problem, row: Row, following: Row | None) -> int:
    """The minute the vehicle lets go of the row's zones.

    It stays until its next operation starts there or it sets off for another placement; it
    leaves at the row's end when it is parked or done.
    """
    if following is None or row.park_after:
        return row.end
    gap = problem.travel_minutes(row.placement, following.placement)
    return max(row.end, following.start - gap)


def may_share_set_up(problem: Problem, before: Row, operation: Operation) -> bool:
    """Whether an operation could go on with what is set out for the row before it.

    The row is of the operation directly before it in the same vehicle, is not parked after,
    and has the units the operation needs.
    """
    if not operation.set_up or not operation.shared_minutes or operation.lag or before.park_after:
        return False
    earlier = problem.operation_by_key.get(before.key)
    if earlier is None or earlier.set_up != operation.set_up:
        return False
    operations = problem.vehicle_by_id[before.vehicle].operations
    number = operations.index(earlier) + 1
    if number >= len(operations) or operations[number].id != operation.id:
        return False
    others = [name for name in before.units if name not in operation.exact_units]
    types = sorted(problem.unit_by_id[name].type for name in others)
    named = len(before.units) - len(others) == len(operation.exact_units)
    return named and types == sorted(operation.equipment)


def lasts(problem: Problem, before: Row | None, row: Row) -> int:
    """Minutes a row takes after the row before it: less where its set-up stands already."""
    operation = problem.operation_by_key[row.key]
    shared = (
        before is not None
        and row.start == before.end
        and row.placement == before.placement
        and sorted(row.units) == sorted(before.units)
        and may_share_set_up(problem, before, operation)
    )
    return operation.minutes - (operation.shared_minutes if shared else 0)


def drives_from(problem: Problem, stood: str, parked: bool, placement: str) -> int:
    """Minutes for which whoever does an operation drives the vehicle to it first."""
    if not problem.technicians_drive:
        return 0
    return problem.travel_minutes(problem.lot if parked else stood, placement)


def holds(problem: Problem, rows: Iterable[Row]) -> Iterator[Hold]:
    """Everything the rows of one vehicle hold.

    A place is held on to the next row only when that row is the very next operation: with
    an unplanned one in between nobody knows yet where the vehicle will wait.
    """
    ordered = sorted(rows, key=lambda row: (row.start, row.end))
    if not ordered:
        return
    vehicle = problem.vehicle_by_id[ordered[0].vehicle]
    numbers = {o.id: n for n, o in enumerate(vehicle.operations)}
    standing: list[Hold] = []
    for row, following in pairwise([*ordered, None]):
        if row is None:
            continue
        adjoining = following is not None and (
            numbers[following.operation] == numbers[row.operation] + 1
        )
        leaves = leaves_at(problem, row, following if adjoining else None)
        for hold in _row_holds(problem, row, leaves):
            standing.append(hold)
            yield hold
    if problem.technicians_drive:
        yield from _drivers(problem, ordered)
    stood = [vehicle.stands] if vehicle.stands else []
    places = {problem.placements[name] for name in (*stood, *(row.placement for row in ordered))}
    if any(place.crosses for place in places):
        yield from _one_after_another(crossings(problem, ordered), standing)


def _drivers(problem: Problem, rows: Sequence[Row]) -> Iterator[Hold]:
    """Technicians for the minutes of the moves to their rows; what is over by now takes nobody.

    Nobody knows where a vehicle comes from whose operation before is not planned: then it
    is driven in from wherever that is.
    """
    vehicle = problem.vehicle_by_id[rows[0].vehicle]
    numbers = {o.id: n for n, o in enumerate(vehicle.operations)}
    for earlier, row in pairwise([None, *rows]):
        assert row is not None
        if row.key in problem.pin_by_key:
            continue
        number = numbers[row.operation]
        if number and (earlier is None or numbers[earlier.operation] != number - 1):
            minutes = problem.drive_minutes(row.placement)
        else:
            stood = earlier.placement if earlier else vehicle.stands or problem.lot
            parked = earlier is not None and earlier.park_after
            minutes = drives_from(problem, stood, parked, row.placement)
        start = max(row.start - minutes, problem.now)
        if start < row.start:
            yield Hold(row.technician, start, row.start, row, DRIVES_IN)


def crossings(problem: Problem, rows: Sequence[Row]) -> list[Hold]:
    """The zones one vehicle drives through, for the minutes of each move; rows in its order.

    Moves that are over by now claim nothing. The way out after a row whose next operation is
    not planned yet is not known, so nothing is claimed for it.
    """
    vehicle = problem.vehicle_by_id[rows[0].vehicle]
    numbers = {o.id: n for n, o in enumerate(vehicle.operations)}
    found: list[Hold] = []
    for earlier, row in pairwise([None, *rows]):
        assert row is not None
        number = numbers[row.operation]
        if number and (earlier is None or numbers[earlier.operation] != number - 1):
            found += _way_in(problem, row)
            continue
        stood = earlier.placement if earlier else vehicle.stands or problem.lot
        parked = earlier is not None and earlier.park_after
        if stood != row.placement or parked:
            leaves = _sets_off(problem, stood, earlier, row)
            mover = earlier if earlier is not None and parked else row
            found += _way_out(problem, stood, leaves, mover)
            found += _way_in(problem, row)
    if numbers[rows[-1].operation] == len(numbers) - 1:
        found += _way_out(problem, rows[-1].placement, rows[-1].end, rows[-1])
    now = problem.now
    return [hold._replace(start=max(hold.start, now)) for hold in found if hold.end > now]


def _sets_off(problem: Problem, stood: str, earlier: Row | None, row: Row) -> int:
    if earlier is not None:
        return leaves_at(problem, earlier, row)
    return row.start - problem.travel_minutes(stood, row.placement)


def _way_in(problem: Problem, row: Row) -> list[Hold]:
    starts = row.start - problem.drive_minutes(row.placement)
    zones = sorted(problem.placements[row.placement].crosses)
    return [Hold(zone, starts, row.start, row, DRIVES_IN) for zone in zones]


def _way_out(problem: Problem, placement: str, leaves: int, row: Row) -> list[Hold]:
    ends = leaves + problem.drive_minutes(placement)
    zones = sorted(problem.placements[placement].crosses)
    return [Hold(zone, leaves, ends, row, DRIVES_OUT) for zone in zones]


def _one_after_another(moves: Iterable[Hold], standing: Iterable[Hold]) -> Iterator[Hold]:
    """The moves without what the vehicle holds already, so that it never meets itself.

    One way may end where the next begins, and a short drive on the road may be over before
    the minutes reckoned for the way out and in.
    """
    taken: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for hold in standing:
        taken[hold.resource].append((hold.start, hold.end))
    for hold in sorted(moves, key=lambda hold: (hold.start, hold.end)):
        start, end = hold.start, hold.end
        for other_start, other_end in taken[hold.resource]:
            if other_start < end and start < other_end:
                start, end = (start, other_start) if start < other_start else (other_end, end)
        if start < end:
            taken[hold.resource].append((start, end))
            yield hold._replace(start=start, end=end)


def _row_holds(problem: Problem, row: Row, leaves: int) -> Iterator[Hold]:
    yield Hold(row.technician, row.start, row.end, row)
    if row.second_person is not None:
        needed = problem.operation_by_key[row.key].second_person_minutes
        yield Hold(row.second_person, row.start, row.start + needed, row)
    for unit in row.units:
        yield Hold(unit, row.start, row.end, row)
    for zone in problem.placements[row.placement].zones:
        yield Hold(zone, row.start, leaves, row)
