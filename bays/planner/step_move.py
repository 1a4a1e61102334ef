"""Move one step of a plan by hand: verified, and nothing but its own vehicle touched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, product

from bays.planner.answers import Change, Plan, PromiseMove, Rule, Violation
from bays.planner.calendar import Calendar
from bays.planner.changes import list_changes, list_promise_moves
from bays.planner.costs import plan_of
from bays.planner.dispatch import calendar_with
from bays.planner.feasible import Case, Masks
from bays.planner.hindrances import Hindrances
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import GRID_MINUTES, Operation, OperationKey, Problem, Row, Window
from bays.planner.verify import verify

# A vehicle that waits longer than this is parked, so that its place is free for others.
LONG_WAIT_MINUTES = 60


@dataclass(frozen=True, slots=True)
class Moved:
    """The plan with the step moved; `rows` differ from the plan in force.

    `along` says that what follows in the vehicle had to move as well.
    """

    plan: Plan
    rows: tuple[Row, ...]
    changes: tuple[Change, ...]
    promise_moves: tuple[PromiseMove, ...]
    along: bool


@dataclass(frozen=True, slots=True)
class CannotMove:
    """Why the step cannot go there, in words."""

    says: str


def moved(
    problem: Problem,
    plan: Plan,
    key: OperationKey,
    start: int,
    placement: str,
    technician: str,
) -> Moved | CannotMove:
    """The plan with this step at `start`, in this placement, by this technician.

    Every other row stays. Where that breaks a rule that only what follows in the vehicle stands
    in the way of, the rest of the vehicle is placed again after it, as early as it fits. The
    result breaks no rule that the plan in force did not break, and none with the rows it moves.
    The operation must not be pinned: see `feasible.loosened`.
    """
    case = Case(problem, plan, key)
    known = placement in {place.id for place in case.places} and technician in case.people
    if start % GRID_MINUTES or start < 0 or not known:
        return CannotMove("that is no place and time to start at")
    if not _open(case, placement, technician) >> (start // GRID_MINUTES) & 1:
        return CannotMove(_why_not(case, start, placement, technician))
    row = _row(case, start, placement, technician, case.alone)
    for rows in _with_parking(case, row) if row else ():
        answer = _checked(case, rows, along=False)
        if answer is not None:
            return answer
    if case.loose:
        answer = _along(case, start, placement, technician)
        if answer is not None:
            return answer
    return CannotMove(_why_not(case, start, placement, technician))


def restored(problem: Problem, plan: Plan, rows: Sequence[Row]) -> Moved | CannotMove:
    """The plan with these rows put back as they were, when it still holds."""
    after = _with(problem, plan, rows)
    broken = _broken(problem, plan, after, {row.key for row in rows})
    if broken:
        return CannotMove(broken[0].says)
    return _answer(problem, plan, after, along=len(rows) > 1)


def _open(case: Case, placement: str, technician: str) -> int:
    """Starts that are open there when what follows may move along."""
    masks, place = Masks(case, along=True), case.problem.placements[placement]
    return (
        masks.common
        & masks.floor(place)
        & masks.person(technician)
        & masks.drives(technician, place)
    )


def _along(case: Case, start: int, placement: str, technician: str) -> Moved | None:
    """The same with the rest of the vehicle placed anew, as it was where that still fits."""
    row = _row(case, start, placement, technician, case.along)
    if row is None:
        return None
    later = {r.operation: r for r in case.following}
    old = {name: r for name, r in later.items() if r.key in case.loose}
    pinned = {name: r for name, r in later.items() if r.key not in case.loose}
    for earlier in _parked_or_not(case, case.earlier, row):
        fixed = {name: r for name, r in case.own.items() if name not in old}
        fixed |= {r.operation: r for r in (earlier, row) if r is not None} | pinned
        calendar = calendar_with(case.problem, [*case.others, *fixed.values()])
        rows = insert(calendar, case.vehicle, fixed=fixed, old=old, sticky=True)
        if isinstance(rows, Stuck):
            continue
        answer = _checked(case, rows, along=True)
        if answer is not None:
            return answer
    return None


def _row(case: Case, start: int, placement: str, technician: str, calendar: Calendar) -> Row | None:
    """The step's new row with units and a second person, as before where they are free."""
    operation, cell = case.operation, start // GRID_MINUTES
    units = _units(case, operation, cell, calendar)
    helper = _helper(case, technician, cell, calendar)
    if units is None or (operation.second_person_minutes and helper is None):
        return None
    return Row(
        vehicle=case.vehicle.id,
        operation=operation.id,
        start=start,
        end=start + operation.minutes,
        technician=technician,
        second_person=helper,
        units=units,
        placement=placement,
        park_after=case.row.park_after if case.row else False,
    )


def _units(
    case: Case, operation: Operation, cell: int, calendar: Calendar
) -> tuple[str, ...] | None:
    before = case.row.units if case.row else ()
    chosen = list(operation.exact_units)
    for kind in operation.equipment:
        free = [
            unit
            for unit in case.problem.units_by_type.get(kind, ())
            if unit not in chosen and calendar.starts(unit, case.cells) >> cell & 1
        ]
        if not free:
            return None
        chosen.append(min(free, key=lambda unit: unit not in before))
    return tuple(chosen)


def _helper(case: Case, leader: str, cell: int, calendar: Calendar) -> str | None:
    minutes = case.operation.second_person_minutes
    if not minutes:
        return None
    before = case.row.second_person if case.row else None
    free = [
        t
        for t in case.problem.technicians
        if t.id != leader and calendar.starts(t.id, -(-minutes // GRID_MINUTES)) >> cell & 1
    ]
    best = min(free, key=lambda t: (t.id != before, len(t.skills), t.id), default=None)
    return best.id if best else None


def _with_parking(case: Case, row: Row) -> Iterator[tuple[Row, ...]]:
    """The row and the one before it, parked after or not; waiting for long comes last."""
    following = case.following[0] if case.following else None
    for earlier, here in product(
        _parked_or_not(case, case.earlier, row), _parked_or_not(case, row, following)
    ):
        assert here is not None
        yield tuple(r for r in (earlier, here) if r is not None)


def _parked_or_not(case: Case, row: Row | None, following: Row | None) -> list[Row | None]:
    if row is None:
        return [None]
    if following is None:
        return [replace(row, park_after=False)]
    waits = following.start - row.end
    likely = waits > LONG_WAIT_MINUTES and case.problem.placements[row.placement].kind == "floor"
    return [replace(row, park_after=likely), replace(row, park_after=not likely)]


def _checked(case: Case, rows: Iterable[Row], *, along: bool) -> Moved | None:
    after = _with(case.problem, case.plan, rows)
    keys = {case.key} | (case.loose if along else set())
    if _broken(case.problem, case.plan, after, keys):
        return None
    return _answer(case.problem, case.plan, after, along=along)


def _with(problem: Problem, plan: Plan, rows: Iterable[Row]) -> Plan:
    new = {row.key: row for row in rows}
    return plan_of(problem, [*(r for r in plan.rows if r.key not in new), *new.values()])


def _broken(
    problem: Problem, before: Plan, after: Plan, keys: set[OperationKey]
) -> list[Violation]:
    """Rules the new plan breaks with the moved rows, or that were not broken before."""
    known = {(v.rule, v.says) for v in verify(problem, before)}
    return [
        violation
        for violation in verify(problem, after)
        if any(row.key in keys for row in violation.rows)
        or ((violation.rule, violation.says) not in known and violation.rule != Rule.MISSING)
    ]


def _answer(problem: Problem, before: Plan, after: Plan, *, along: bool) -> Moved:
    old = {row.key: row for row in before.rows}
    return Moved(
        plan=after,
        rows=tuple(row for row in after.rows if old.get(row.key) != row),
        changes=list_changes(problem, before.rows, after.rows),
        promise_moves=list_promise_moves(problem, before, after),
        along=along,
    )


def _why_not(case: Case, start: int, placement: str, technician: str) -> str:
    """The first thing that stands in the way of that minute, in that place, by that person."""
    problem, cell = case.problem, start // GRID_MINUTES
    window = Window(start, problem.horizon)
    why = Hindrances(case, Masks(case, along=True), window)
    person = why.person(problem.technician_by_id[technician])
    for hindrance in chain(
        why.shared(), why.place(problem.placements[placement]), person, why.needs()
    ):
        if hindrance.cells >> cell & 1:
            return hindrance.says
    return f"{case.operation.name} and what follows it find no room then"
