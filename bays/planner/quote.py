"""Find times for a new vehicle beside an existing plan, and say why none is sooner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from bays.planner.answers import Binding, ModelError, Offer, Plan, Quote
from bays.planner.binding import binding_of_stuck, what_holds
from bays.planner.calendar import Calendar
from bays.planner.costs import plan_of
from bays.planner.dispatch import calendar_with
from bays.planner.faults import model_error
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import Problem, Row, Vehicle
from bays.planner.verify import verify

SAME_DAY_STEP_MINUTES = 60
DAYS_AHEAD = 7
STEPS_A_DAY = 8


@dataclass(frozen=True, slots=True)
class _Candidate:
    rows: tuple[Row, ...]

    @property
    def start(self) -> int:
        return self.rows[0].start

    @property
    def finish(self) -> int:
        return self.rows[-1].end


def quote(problem: Problem, plan: Plan, vehicle: Vehicle, count: int = 3) -> Quote | ModelError:
    """Offer up to `count` different starts for the vehicle with every existing row untouched.

    The first offer is done soonest; among equals it brings the vehicle in last, so that it
    does not wait here. The others are done at other times: by the promise where that can be,
    then on another day, else in another bay or with other people. Each passed `verify`
    together with the plan. `binding` says what keeps the first from being sooner, or, without
    offers, what is missing. A vehicle already in the plan is quoted as if it were not.
    """
    asked = problem_with(problem, vehicle)
    broken = model_error(asked)
    if broken is not None:
        return broken
    existing = tuple(row for row in plan.rows if row.vehicle != vehicle.id)
    calendar = calendar_with(asked, existing)
    soonest = insert(calendar, vehicle, fixed={})
    if isinstance(soonest, Stuck):
        return Quote((), binding_of_stuck(asked, existing, vehicle, soonest))
    found = [_Candidate(soonest), *_later(calendar, vehicle, soonest)]
    offers = _choose(asked, existing, found, count)
    return Quote(offers, _why_not_sooner(asked, existing, vehicle, soonest))


def problem_with(problem: Problem, vehicle: Vehicle) -> Problem:
    """The problem with this vehicle in place of any of the same id."""
    others = tuple(other for other in problem.vehicles if other.id != vehicle.id)
    pins = tuple(row for row in problem.pins if row.vehicle != vehicle.id)
    return replace(problem, vehicles=(*others, vehicle), pins=pins)


def _later(calendar: Calendar, vehicle: Vehicle, soonest: Sequence[Row]) -> Iterator[_Candidate]:
    """What comes out when the vehicle is brought in later, hour by hour and day by day."""
    starts = {soonest[0].start}
    for arrival in _arrivals(calendar.problem, soonest[0].start):
        rows = insert(calendar, replace(vehicle, release=arrival), fixed={})
        if isinstance(rows, Stuck):
            return
        if rows[0].start not in starts:
            starts.add(rows[0].start)
            yield _Candidate(rows)


def _arrivals(problem: Problem, start: int) -> Iterator[int]:
    """Arrival times: every hour of opening for the first days after the soonest start."""
    days = 0
    for window in sorted(problem.open):
        if window.end <= start:
            continue
        if days > DAYS_AHEAD:
            return
        step = SAME_DAY_STEP_MINUTES if days < 2 else 4 * SAME_DAY_STEP_MINUTES
        first = window.start if window.start > start else start + step
        yield from list(range(first, window.end, step))[:STEPS_A_DAY]
        days += 1


def _choose(
    problem: Problem, existing: tuple[Row, ...], found: list[_Candidate], count: int
) -> tuple[Offer, ...]:
    """The soonest, then those that differ most from what was chosen; only verified ones."""
    due = problem.vehicle_by_id[found[0].rows[0].vehicle].due
    waiting = sorted(found, key=lambda c: (c.finish, -c.start))
    chosen: list[_Candidate] = []
    while waiting and len(chosen) < count:
        best = waiting[0]
        if chosen:
            best = max(
                waiting,
                key=lambda c: (
                    all(c.finish != other.finish for other in chosen),
                    c.finish <= due,
                    _newness(problem, chosen, c),
                    -c.finish,
                    c.start,
                ),
            )
        waiting.remove(best)
        if _stands(problem, existing, best.rows):
            chosen.append(best)
    return tuple(_offer(problem, c) for c in sorted(chosen, key=lambda c: (c.finish, c.start)))


def _newness(problem: Problem, chosen: list[_Candidate], candidate: _Candidate) -> int:
    """2 for another day than all chosen, 1 for other places or people, 0 for neither."""

    def day(one: _Candidate) -> date:
        return problem.moment(one.start).date()

    def means(one: _Candidate) -> set[str]:
        return {name for row in one.rows for name in (row.placement, row.technician)}

    if all(day(candidate) != day(other) for other in chosen):
        return 2
    return int(all(means(candidate) != means(other) for other in chosen))


def _stands(problem: Problem, existing: tuple[Row, ...], rows: tuple[Row, ...]) -> bool:
    """Whether no rule is broken by these rows (a plan may have faults of its own)."""
    violations = verify(problem, plan_of(problem, (*existing, *rows)))
    return not any(row.vehicle == rows[0].vehicle for v in violations for row in v.rows)


def _offer(problem: Problem, candidate: _Candidate) -> Offer:
    rows = candidate.rows
    places = [
        problem.placements[row.placement].label
        for row in rows
        if problem.placements[row.placement].kind == "floor"
    ]
    people = [problem.technician_by_id[row.technician].name for row in rows]
    labels = tuple(dict.fromkeys([*places, *people]))
    late = max(0, candidate.finish - problem.vehicle_by_id[rows[0].vehicle].due)
    where = _listed(places) or problem.placements[rows[0].placement].label
    who = _listed(people)
    says = (
        f"{problem.clock(candidate.start)} to {problem.clock(candidate.finish)}"
        f", {where}, with {who}"
    )
    if late:
        says += f"; {late} minutes after it is wanted"
    return Offer(rows, candidate.start, candidate.finish, labels, says, late)


def _listed(names: list[str]) -> str:
    different = list(dict.fromkeys(names))
    return " and ".join(filter(None, [", ".join(different[:-1]), *different[-1:]]))


def _why_not_sooner(
    problem: Problem, existing: tuple[Row, ...], vehicle: Vehicle, rows: tuple[Row, ...]
) -> Binding:
    """What the soonest possible rows waited for longest; without any wait, what began them."""
    everyone = (*existing, *rows)
    held = [(what_holds(problem, everyone, vehicle, row), row) for row in rows]
    longest, row = max(held, key=lambda pair: pair[0].waited)
    if not longest.waited:
        return longest.binding
    name = problem.operation_by_key[row.key].name
    says = f"{name} not before {problem.clock(row.start)}: {longest.binding.says}"
    return replace(longest.binding, says=says)
