"""Repair a plan when the day breaks, changing as little as it can.

The rows in force are loaded, never built afresh. Rows that break a rule come out with what
follows them in their vehicle and go back in promise order. Then single other vehicles are
tried out and back in as well, as long as that makes the plan cheaper, changes being paid for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from bays.planner.answers import (
    Binding,
    Disruption,
    Infeasible,
    ModelError,
    NotProved,
    Plan,
    Replan,
    Rule,
    Urgent,
)
from bays.planner.changes import list_changes, list_promise_moves
from bays.planner.costs import plan_of
from bays.planner.dispatch import calendar_with, no_room, promise_order
from bays.planner.disruption import Broken, after
from bays.planner.engine.warm import ready
from bays.planner.faults import model_error
from bays.planner.holding import rows_by_vehicle
from bays.planner.improve import improve
from bays.planner.insertion import Stuck, insert
from bays.planner.neighbours import movable
from bays.planner.problem import OperationKey, Problem, Row
from bays.planner.verify import verify

FREEZE_MINUTES = 30
# Each round takes one more vehicle out; more rounds cost time and rarely change fewer rows.
ROUNDS = 3


@dataclass(frozen=True, slots=True)
class _Repair:
    """One way to repair: the plan it gives and the keys taken out for it."""

    plan: Plan
    out: frozenset[OperationKey]
    rank: tuple[int, int]  # cost, then rows that differ: units are not in the cost


@dataclass(frozen=True, slots=True)
class _Case:
    problem: Problem
    rows: tuple[Row, ...]
    frozen: frozenset[OperationKey]
    urgent: str | None

    @property
    def fixed(self) -> frozenset[OperationKey]:
        return frozenset(self.problem.pin_by_key)

    @property
    def missing(self) -> bool:
        """Whether an operation has no row."""
        return bool(self.problem.operation_by_key.keys() - {row.key for row in self.rows})


def replan(
    problem: Problem,
    plan: Plan,
    now: int,
    disruption: Disruption | None,
    *,
    freeze_minutes: int = FREEZE_MINUTES,
    seconds: float = 0.0,
    seed: int = 0,
) -> Replan | Infeasible | NotProved | ModelError:
    """The least-cost repair found of the plan in force at minute `now`.

    Rows that have started stay as they are, and so does what starts within `freeze_minutes`
    unless it breaks a rule. Without a broken rule or a new vehicle nothing changes. With
    `seconds` the repair is then made cheaper for so long, changes being paid for. The result
    has passed `verify` against `Replan.problem`.
    """
    case = _asked(problem, plan, now, disruption, freeze_minutes)
    if isinstance(case, ModelError):
        return case
    out = _violating(case)
    if not out and not case.missing:
        same = _Repair(plan_of(case.problem, case.rows), out, (0, 0))
        return _answer(case, same.plan, plan) if _sound(case, same) else _unsound(case, same)
    best = _best_repair(case, out)
    if not isinstance(best, _Repair):
        return best
    cheaper = _cheaper(case, best, seconds, seed) if seconds else best.plan
    if cheaper.cost < best.plan.cost:
        return _answer(case, cheaper, plan)
    if seconds and ready():
        return _answer(case, best.plan, plan)
    return _answer(case, _improved(case, best).plan, plan)


def first_repair(
    problem: Problem,
    plan: Plan,
    now: int,
    disruption: Disruption | None,
    *,
    freeze_minutes: int = FREEZE_MINUTES,
) -> Replan | Infeasible | NotProved | ModelError:
    """A repair in milliseconds: only what breaks a rule, or has no place, goes back in.

    As `replan` otherwise, which is asked where that is not possible.
    """
    case = _asked(problem, plan, now, disruption, freeze_minutes)
    if isinstance(case, ModelError):
        return case
    least = _repair(case, _violating(case))
    if isinstance(least, _Repair) and _sound(case, least):
        return _answer(case, least.plan, plan)
    return replan(problem, plan, now, disruption, freeze_minutes=freeze_minutes)


def _asked(
    problem: Problem, plan: Plan, now: int, disruption: Disruption | None, freeze_minutes: int
) -> _Case | ModelError:
    broken = after(problem, plan, now, disruption)
    if isinstance(broken, ModelError):
        return broken
    fault = model_error(broken.problem)
    if fault is not None:
        return fault
    return _case(broken, now + freeze_minutes, disruption)


def _case(broken: Broken, freeze_until: int, disruption: Disruption | None) -> _Case:
    frozen = frozenset(row.key for row in broken.rows if row.start < freeze_until)
    urgent = disruption.vehicle.id if isinstance(disruption, Urgent) else None
    return _Case(broken.problem, broken.rows, frozen, urgent)


def _answer(case: _Case, repaired: Plan, before: Plan) -> Replan:
    return Replan(
        repaired,
        list_changes(case.problem, before.rows, repaired.rows),
        list_promise_moves(case.problem, before, repaired),
        case.problem,
    )


def _violating(case: _Case) -> frozenset[OperationKey]:
    """Rows to take out until what stays breaks no rule, with their successors."""
    out: frozenset[OperationKey] = frozenset()
    while True:
        rows = [row for row in case.rows if row.key not in out]
        victims: set[OperationKey] = set()
        for violation in verify(case.problem, plan_of(case.problem, rows)):
            loose = [row for row in violation.rows if row.key not in case.fixed]
            if violation.rule in (Rule.MISSING, Rule.WRONG_COST, Rule.WRONG_LATE) or not loose:
                continue
            victim = max(loose, key=lambda row: (row.key not in case.frozen, row.start, row.key))
            victims |= _with_successors(case, victim)
        if not victims - out:
            return out
        out |= victims


def _with_successors(case: _Case, row: Row) -> set[OperationKey]:
    return {
        other.key
        for other in case.rows
        if other.vehicle == row.vehicle and other.start >= row.start and other.key not in case.fixed
    }


def _best_repair(case: _Case, out: frozenset[OperationKey]) -> _Repair | Infeasible | NotProved:
    """The least change that holds; what is frozen moves only where there is no other way."""
    everything = frozenset(row.key for row in case.rows) - case.fixed
    for loose in (out, out | (everything - case.frozen)):
        found = _repair(case, loose)
        if isinstance(found, _Repair) and _sound(case, found):
            return found
    last = _repair(case, everything)
    if not isinstance(last, _Repair):
        return last
    return last if _sound(case, last) else _unsound(case, last)


def _cheaper(case: _Case, best: _Repair, seconds: float, seed: int) -> Plan:
    """The repair made cheaper; what is frozen and was left where it is stays there.

    Among many vehicles only those near the repair may move, so that few changes have to be told.
    """
    frozen = {row.key: row for row in case.rows if row.key in case.frozen}
    kept = {row.key for row in best.plan.rows if _same(frozen.get(row.key), row)}
    loose = movable(case.problem, case.rows, best.plan.rows, case.fixed | kept)
    pins = {row.key: row for row in best.plan.rows if row.key not in loose}
    held = replace(case.problem, pins=tuple((pins | case.problem.pin_by_key).values()))
    plan = plan_of(case.problem, improve(held, best.plan, seconds, seed).rows)
    if plan.cost < best.plan.cost and not verify(case.problem, plan):
        return plan
    return best.plan


def _same(frozen: Row | None, row: Row) -> bool:
    return frozen is not None and replace(frozen, park_after=row.park_after) == row


def _unsound(case: _Case, repair: _Repair) -> NotProved:
    broken = verify(case.problem, repair.plan)[0]
    row = broken.rows[0] if broken.rows else repair.plan.rows[0]
    binding = Binding("pin", broken.says, None, row.vehicle, row.operation)
    return NotProved(row.vehicle, binding, f"every repair breaks the rule {broken.rule}")


def _sound(case: _Case, repair: _Repair) -> bool:
    return not verify(case.problem, repair.plan)


def _improved(case: _Case, best: _Repair) -> _Repair:
    """Take out one more vehicle at a time while that makes the plan cheaper."""
    for _ in range(ROUNDS):
        cheaper = sorted(
            (repair for repair in _neighbours(case, best) if repair.plan.cost < best.plan.cost),
            key=lambda repair: repair.rank,
        )
        better = next((repair for repair in cheaper if _sound(case, repair)), None)
        if better is None:
            return best
        best = better
    return best


def _neighbours(case: _Case, best: _Repair) -> Iterator[_Repair]:
    for vehicle, own in rows_by_vehicle(case.rows).items():
        loose = frozenset(row.key for row in own) - case.fixed - case.frozen
        if loose and not loose <= best.out:
            repair = _repair(case, best.out | loose, vehicle)
            if isinstance(repair, _Repair):
                yield repair


def _repair(
    case: _Case, out: frozenset[OperationKey], last: str | None = None
) -> _Repair | Infeasible | NotProved:
    """The cheaper of keeping old slots where they fit and of taking the first free ones."""
    repairs = []
    for sticky in (True, False):
        rows = _put_back(case, out, last, sticky=sticky)
        if not isinstance(rows, list):
            continue
        plan = plan_of(case.problem, rows)
        changed = len(set(plan.rows) ^ set(case.rows))
        repairs.append(_Repair(plan, out, (plan.cost, changed)))
    if repairs:
        return min(repairs, key=lambda repair: repair.rank)
    failed = _put_back(case, out, last, sticky=False)
    assert not isinstance(failed, list)
    return failed


def _put_back(
    case: _Case, out: frozenset[OperationKey], last: str | None, *, sticky: bool
) -> list[Row] | Infeasible | NotProved:
    """Insert what is out, the urgent vehicle first, `last` last, the rest by promise."""
    problem = case.problem
    kept = [row for row in case.rows if row.key not in out]
    grouped = rows_by_vehicle(kept)
    calendar = calendar_with(problem, kept)
    incomplete = [v for v in problem.vehicles if len(grouped.get(v.id, [])) < len(v.operations)]
    incomplete.sort(key=lambda v: (v.id != case.urgent, v.id == last, promise_order(v)))
    for vehicle in incomplete:
        fixed = {row.operation: row for row in grouped.get(vehicle.id, [])}
        old = _old_rows(case.rows, vehicle.id)
        rows = insert(calendar, vehicle, fixed=fixed, old=old, sticky=sticky)
        if isinstance(rows, Stuck):
            others = [row for own in grouped.values() for row in own]
            return no_room(problem, vehicle, rows, others)
        calendar.occupy(rows)
        grouped[vehicle.id] = list(rows)
    return [row for own in grouped.values() for row in own]


def _old_rows(rows: Iterable[Row], vehicle: str) -> dict[str, Row]:
    return {row.operation: row for row in rows if row.vehicle == vehicle}
