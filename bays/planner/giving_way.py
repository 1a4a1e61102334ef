"""Let a new vehicle go first where few others then move a little and none is later for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bays.planner.costs import plan_of
from bays.planner.dispatch import calendar_with, promise_order
from bays.planner.holding import rows_by_vehicle
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import Problem, Row, Vehicle
from bays.planner.verify import verify

# Common practice, no source: for less nobody is rung up, and nobody is asked for more.
CLEARLY_EARLIER_MINUTES = 15
MOST_MINUTES_MOVED = 60
# How many single visits are tried as the one that gives way, nearest in time first, and how
# many that help then have a second one tried beside them.
MOST_TRIED = 12
MOST_SECONDS = 4
NUMBERS = ("no", "one", "two", "three", "four")


@dataclass(frozen=True, slots=True)
class GaveWay:
    """Rows of the new vehicle, and the rows of others that are different then."""

    rows: tuple[Row, ...]
    moved: tuple[Row, ...]
    rest: tuple[Row, ...]  # everybody else's rows, those moved among them


def give_way(
    problem: Problem,
    existing: Sequence[Row],
    vehicle: Vehicle,
    soonest: Sequence[Row],
    freeze_minutes: int,
) -> GaveWay | None:
    """The earliest finish found with one or two visits out of the way, and all back in after.

    `soonest` are the rows found with everybody in place. None unless the vehicle is done at
    least `CLEARLY_EARLIER_MINUTES` before that, nobody else moves by more than
    `MOST_MINUTES_MOVED` or is later against the promise, and what moved passes `verify`. Pinned
    rows and rows that start before now and `freeze_minutes` stay where they are.
    """
    latest = soonest[-1].end - CLEARLY_EARLIER_MINUTES
    loose = _loose(problem, existing, soonest, freeze_minutes)
    trials = sorted(_ways(problem, existing, vehicle, [(one,) for one in loose], loose, latest))
    first = [out for _, out in trials[:MOST_SECONDS]]
    for finish, out in trials:
        found = _kept(problem, existing, vehicle, out, loose, finish)
        if found is not None:
            return found
    pairs = {tuple(sorted((*out, other))) for out in first for other in loose if other not in out}
    nearest = sorted(pairs)[:MOST_TRIED]
    for finish, out in sorted(_ways(problem, existing, vehicle, nearest, loose, latest))[:2]:
        found = _kept(problem, existing, vehicle, out, loose, finish)
        if found is not None:
            return found
    return None


def cost_to_others(problem: Problem, existing: Sequence[Row], moved: Sequence[Row]) -> str:
    """What moving these rows means to the others, in words."""
    if not moved:
        return "nobody else moves"
    old = {row.key: row for row in existing}
    visits = {row.vehicle for row in moved}
    count = NUMBERS[len(visits)] if len(visits) < len(NUMBERS) else str(len(visits))
    whom = f"{count} visit{'s' if len(visits) > 1 else ''}"
    minutes = max(abs(row.start - old[row.key].start) for row in moved)
    rows = [*moved, *(row for key, row in old.items() if key not in {m.key for m in moved})]
    late = plan_of(problem, rows).late
    after = "none later than now" if visits & late.keys() else "none late"
    if not minutes:
        return f"another place or person for {whom}, {after}"
    return f"moves {whom} by up to {minutes} min, {after}"


def _loose(
    problem: Problem, existing: Sequence[Row], soonest: Sequence[Row], freeze_minutes: int
) -> dict[str, frozenset[str]]:
    """Visits that could be in the way, and which of their operations may move."""
    until = problem.now + freeze_minutes
    vehicle = problem.vehicle_by_id[soonest[0].vehicle]
    begin, end = max(problem.now, vehicle.release), soonest[-1].end
    found: dict[str, frozenset[str]] = {}
    for name, rows in rows_by_vehicle(existing).items():
        free = [r for r in rows if r.key not in problem.pin_by_key and r.start >= until]
        if any(row.start < end and row.end > begin for row in free):
            found[name] = frozenset(row.operation for row in free)
    starts = {row.vehicle: row.start for row in reversed(existing)}
    nearest = sorted(found, key=lambda name: (abs(starts[name] - begin), name))[:MOST_TRIED]
    return {name: found[name] for name in nearest}


def _ways(
    problem: Problem,
    existing: Sequence[Row],
    vehicle: Vehicle,
    outs: Sequence[tuple[str, ...]],
    loose: dict[str, frozenset[str]],
    latest: int,
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Which visits taken out let the vehicle finish by `latest`, with that finish."""
    for out in outs:
        stays = [r for r in existing if r.vehicle not in out or r.operation not in loose[r.vehicle]]
        rows = insert(calendar_with(problem, stays), vehicle, fixed={})
        if not isinstance(rows, Stuck) and rows[-1].end <= latest:
            yield rows[-1].end, out


def _kept(
    problem: Problem,
    existing: Sequence[Row],
    vehicle: Vehicle,
    out: tuple[str, ...],
    loose: dict[str, frozenset[str]],
    finish: int,
) -> GaveWay | None:
    """The new vehicle first, those taken out back in by promise, or None where it costs them."""
    stays = [r for r in existing if r.vehicle not in out or r.operation not in loose[r.vehicle]]
    calendar = calendar_with(problem, stays)
    rows = insert(calendar, vehicle, fixed={})
    if isinstance(rows, Stuck) or rows[-1].end > finish:
        return None
    calendar.occupy(rows)
    rest = [row for row in existing if row.vehicle not in out]
    for other in sorted((problem.vehicle_by_id[name] for name in out), key=promise_order):
        old = {row.operation: row for row in existing if row.vehicle == other.id}
        fixed = {key: row for key, row in old.items() if key not in loose[other.id]}
        whole = len(old) == len(other.operations)
        back = insert(calendar, other, fixed=fixed, old=old, sticky=True) if whole else None
        if back is None or isinstance(back, Stuck) or not _bearable(other, old, back):
            return None
        calendar.occupy(back)
        rest += back
    before = set(existing)
    moved = tuple(row for row in rest if row not in before)
    found = GaveWay(rows, moved, tuple(rest))
    return found if _sound(problem, found, {vehicle.id, *out}) else None


def _bearable(vehicle: Vehicle, old: dict[str, Row], rows: Sequence[Row]) -> bool:
    was = max(row.end for row in old.values())
    moved = max(abs(row.start - old[row.operation].start) for row in rows)
    return rows[-1].end <= max(was, vehicle.due) and moved <= MOST_MINUTES_MOVED


def _sound(problem: Problem, found: GaveWay, touched: set[str]) -> bool:
    """Whether no rule is broken by what is new (a plan may have faults of its own)."""
    violations = verify(problem, plan_of(problem, (*found.rest, *found.rows)))
    return not any(row.vehicle in touched for v in violations for row in v.rows)
