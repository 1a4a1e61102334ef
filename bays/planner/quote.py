"""Find times for a new vehicle beside an existing plan, and say why none is sooner."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from bays.planner.answers import Binding, ModelError, Offer, Plan, Quote
from bays.planner.binding import binding_of_stuck, what_holds
from bays.planner.calendar import Calendar
from bays.planner.costs import plan_of, vehicle_cost
from bays.planner.dispatch import calendar_with
from bays.planner.faults import model_error
from bays.planner.giving_way import GaveWay, cost_to_others, give_way
from bays.planner.insertion import Stuck, insert
from bays.planner.problem import Problem, Row, Vehicle
from bays.planner.verify import verify

SAME_DAY_STEP_MINUTES = 60
DAYS_AHEAD = 7
STEPS_A_DAY = 8
# Arrivals tried for a wished time, minutes from it: what is free then or a little before.
AROUND_MINUTES = (-120, -90, -60, -45, -30, -15, 0)


@dataclass(frozen=True, slots=True)
class _Candidate:
    rows: tuple[Row, ...]
    way: GaveWay | None = None

    @property
    def start(self) -> int:
        return self.rows[0].start

    @property
    def finish(self) -> int:
        return self.rows[-1].end


def quote(
    problem: Problem,
    plan: Plan,
    vehicle: Vehicle,
    count: int = 3,
    *,
    wished: int | None = None,
    freeze_minutes: int | None = None,
) -> Quote | ModelError:
    """Offer up to `count` different starts for the vehicle, each with a whole plan behind it.

    Soonest finished first; among equals the vehicle is brought in last, so that it does not
    wait here. One is the soonest with every other row untouched, one begins nearest the minute
    `wished` for, and with `freeze_minutes` one may be clearly sooner because others give way
    (see `give_way`; without it nobody moves). The rest are done at other times: by the promise
    where that can be, then on another day, else in another bay or with other people. What an
    offer adds has passed `verify` together with the plan. `binding` says what keeps the first
    that moves nobody from being sooner, or, without offers, what is missing. A vehicle already
    in the plan is quoted as if it were not.
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
    near = [] if wished is None else _near(calendar, vehicle, wished)
    near = [one for one in near if _stands(asked, existing, one.rows)][:1]
    way = None
    if freeze_minutes is not None and count > 1 + len(near):
        way = give_way(asked, existing, vehicle, soonest, freeze_minutes)
    taken = [*near, *([_Candidate(way.rows, way)] if way else [])]
    found = [_Candidate(soonest), *_later(calendar, vehicle, soonest)]
    taken = [*taken, *_cheapest(asked, existing, found)][: max(count - 1, len(near))]
    others = [c for c in found if c.rows == soonest or _different(c, taken)]
    others = [c for c in others if c.rows not in [one.rows for one in taken]]
    chosen = taken + _choose(asked, existing, others, count - len(taken))
    offers = _told(asked, existing, chosen, near)
    return Quote(offers, _why_not_sooner(asked, existing, vehicle, soonest))


def _near(calendar: Calendar, vehicle: Vehicle, wished: int) -> list[_Candidate]:
    """What begins nearest the wished minute first; among equals the sooner one."""
    arrivals = {max(vehicle.release, wished + minutes) for minutes in AROUND_MINUTES}
    found = []
    for arrival in sorted(arrivals):
        rows = insert(calendar, replace(vehicle, release=arrival), fixed={})
        if not isinstance(rows, Stuck):
            found.append(_Candidate(rows))
    return sorted(found, key=lambda c: (abs(c.start - wished), c.finish))


def _cheapest(
    problem: Problem, existing: tuple[Row, ...], found: list[_Candidate]
) -> list[_Candidate]:
    """The one that costs least, where that is not the soonest."""
    best = min(found, key=lambda c: (vehicle_cost(problem, c.rows), c.finish))
    cheaper = vehicle_cost(problem, best.rows) < vehicle_cost(problem, found[0].rows)
    return [best] if cheaper and _stands(problem, existing, best.rows) else []


def _different(one: _Candidate, taken: list[_Candidate]) -> bool:
    return all(one.start != other.start and one.finish != other.finish for other in taken)


def _told(
    problem: Problem,
    existing: tuple[Row, ...],
    chosen: list[_Candidate],
    near: list[_Candidate],
) -> tuple[Offer, ...]:
    """The offers in order of their finish, each with why it is offered and what it costs."""
    ordered = sorted(chosen, key=lambda c: (c.finish, c.start))
    costs = [_added_cost(problem, existing, one) for one in ordered]
    offers = []
    for number, (one, cost) in enumerate(zip(ordered, costs, strict=True)):
        kind = "cheapest" if cost == min(costs) else "another"
        kind = "wished" if one in near else "soonest" if not number else kind
        moved = one.way.moved if one.way else ()
        offers.append(
            replace(
                _offer(problem, one),
                kind=kind,
                moved=moved,
                added_cost=cost,
                cost_to_others=cost_to_others(problem, existing, moved),
            )
        )
    return tuple(offers)


def _added_cost(problem: Problem, existing: tuple[Row, ...], one: _Candidate) -> int:
    """What the whole plan costs more with this vehicle in it."""
    if one.way is None:
        return vehicle_cost(problem, one.rows)
    whole = plan_of(problem, (*one.way.rest, *one.rows))
    return whole.cost - plan_of(problem, existing).cost


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
) -> list[_Candidate]:
    """The soonest, then those that differ most from what was chosen; only verified ones."""
    if not found or not count:
        return []
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
    return chosen


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
