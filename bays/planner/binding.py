"""Which resource holds an operation back: found by asking what each shortage alone costs.

For each group of resources (people, a second person, each type of equipment, floor) the slot
is searched again as if that group were never short. The group that gains most binds, and the
last thing that kept the resource used from being free is what people are told.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from bays.planner.answers import Binding
from bays.planner.calendar import Calendar
from bays.planner.causes import Cause, Ledger, words
from bays.planner.holding import rows_by_vehicle
from bays.planner.insertion import Stuck, standing_before
from bays.planner.moves import Standing
from bays.planner.problem import GRID_MINUTES, Operation, Problem, Row, Vehicle
from bays.planner.slots import (
    FLOOR,
    NAMED,
    PEOPLE,
    SECOND,
    candidates,
    find_slot,
    group_masks,
    units_to_choose,
)


@dataclass(frozen=True, slots=True)
class Held:
    """Why a row is not earlier: the binding, the row behind it if any, the minutes waited."""

    binding: Binding
    holder: Row | None
    waited: int


@dataclass(frozen=True, slots=True)
class _Case:
    calendar: Calendar
    ledger: Ledger
    vehicle: Vehicle
    operation: Operation
    standing: Standing
    earlier: Operation | None

    @property
    def problem(self) -> Problem:
        return self.calendar.problem

    @property
    def leaves(self) -> bool:
        """Whether the vehicle is done after the operation and drives out."""
        return self.operation is self.vehicle.operations[-1]

    def binding(self, resource: str, says: str, frees_at: int | None) -> Binding:
        return Binding(resource, says, frees_at, self.vehicle.id, self.operation.id)

    def earliest(self) -> int:
        """The minute it could start with everything free, whatever the opening hours."""
        problem, standing = self.problem, self.standing
        gap = min(
            (
                problem.travel_minutes(standing.placement, place.id)
                for place in candidates(problem, self.operation, standing)
            ),
            default=0,
        )
        ready = standing.ready + max(gap, self.operation.lag)
        return max(problem.now, ready, self.operation.not_before)


def what_holds(problem: Problem, rows: Iterable[Row], vehicle: Vehicle, row: Row) -> Held:
    """Why this row of the vehicle starts when it does, given all rows in the plan."""
    everyone = list(rows)
    others = [other for other in everyone if other.vehicle != vehicle.id]
    own = rows_by_vehicle(everyone).get(vehicle.id, [])
    case = _case(problem, others, vehicle, [other for other in own if other.start < row.start])
    earliest = case.earliest()
    waited = max(0, row.start - earliest)
    if waited < GRID_MINUTES:
        return Held(_in_order(case, earliest), None, 0)
    opens = find_slot(
        case.calendar, case.operation, case.standing, _groups(case), leaves=case.leaves
    )
    if opens is not None and opens.cell * GRID_MINUTES >= row.start:
        return Held(_opening(case, earliest, row.start), None, waited)
    found = find_slot(case.calendar, case.operation, case.standing, leaves=case.leaves)
    if found is not None and found.cell * GRID_MINUTES < row.start:
        soonest = problem.clock(found.cell * GRID_MINUTES)
        says = f"it was planned for then, though it could start at {soonest}"
        return Held(case.binding("plan", says, found.cell * GRID_MINUTES), None, waited)
    return _short_of(case, row, earliest, waited)


def binding_of_stuck(
    problem: Problem, rows: Iterable[Row], vehicle: Vehicle, stuck: Stuck
) -> Binding:
    """Why an operation has no slot at all before the horizon."""
    others = [row for row in rows if row.vehicle != vehicle.id]
    case = _case(problem, others, vehicle, list(stuck.rows))
    if stuck.pin is not None:
        when = problem.clock(stuck.pin.start)
        return case.binding("pin", f"{case.operation.name} is fixed for {when}, too soon", None)
    binding = _never(case)
    if binding is None:
        alone = replace(case, calendar=Calendar(problem))
        binding = _exhausted(alone, "available") or _exhausted(case, "free")
    says = f"nothing fits {case.operation.name} before {problem.clock(problem.horizon)}"
    return binding or case.binding("together", says, None)


def _case(problem: Problem, others: list[Row], vehicle: Vehicle, before: list[Row]) -> _Case:
    done = {row.operation for row in before}
    operation = next(o for o in vehicle.operations if o.id not in done)
    number = vehicle.operations.index(operation)
    rows = [*others, *before]
    calendar = Calendar(problem)
    for own in rows_by_vehicle(rows).values():
        calendar.occupy(own)
    return _Case(
        calendar.seen_by(vehicle.id),
        Ledger(problem, rows),
        vehicle,
        operation,
        standing_before(problem, vehicle, before),
        vehicle.operations[number - 1] if number else None,
    )


def _groups(case: _Case) -> list[str]:
    return [*group_masks(case.calendar, case.operation), FLOOR]


def _in_order(case: _Case, earliest: int) -> Binding:
    """Nothing was waited for: the operation before, the arrival, or now decides."""
    problem, operation, ready = case.problem, case.operation, case.standing.ready
    if operation.not_before and earliest == operation.not_before:
        says = f"what it waits for is expected at {problem.clock(earliest)}"
        return case.binding("waiting", says, earliest)
    if operation.lag and earliest == ready + operation.lag:
        after = case.earlier.name if case.earlier else "arrival"
        says = f"it has to wait {operation.lag} minutes after {after}"
        return case.binding("order", says, earliest)
    if case.earlier is not None:
        says = f"it follows {case.earlier.name}, done at {problem.clock(ready)}"
        return case.binding("order", says, ready)
    if ready >= problem.now:
        says = f"the vehicle is here from {problem.clock(ready)}"
        return case.binding("arrival", says, ready)
    return case.binding("now", f"it is {problem.clock(problem.now)} now", problem.now)


def _opening(case: _Case, earliest: int, start: int) -> Binding:
    problem = case.problem
    opens = max((w.start for w in problem.open if w.start <= start), default=start)
    says = f"the shop is closed until {problem.clock(opens)}"
    if any(window.start <= earliest < window.end for window in problem.open):
        says = f"it would not be done before closing; the shop opens at {problem.clock(opens)}"
    return case.binding("opening hours", says, opens)


def _short_of(case: _Case, row: Row, earliest: int, waited: int) -> Held:
    """The group that gains most by being plentiful; between equals, the latest cause.

    When even that is equal, equipment and floor are named before people: nobody can be asked
    to lend them an hour.
    """
    ranked: list[tuple[int, int, str, Cause]] = []
    for group in sorted(_groups(case), key=(PEOPLE, SECOND).__contains__):
        freed = find_slot(case.calendar, case.operation, case.standing, [group], leaves=case.leaves)
        gain = row.start - freed.cell * GRID_MINUTES if freed is not None else 0
        cause = _cause(case, group, row, earliest)
        if cause is not None:
            ranked.append((gain, cause.until, group, cause))
    if not ranked:
        says = "people, equipment and floor are not free together any sooner"
        return Held(case.binding("together", says, row.start), None, waited)
    _, until, group, cause = max(ranked, key=lambda entry: entry[:2])
    says = f"{_subject(case, group, row, cause)} {cause.says}"
    return Held(case.binding(cause.resource, says, until), cause.row, waited)


def _cause(case: _Case, group: str, row: Row, earliest: int) -> Cause | None:
    skill = case.operation.skill if group == PEOPLE else None
    causes = [
        cause
        for resource in _used(case.problem, group, row)
        if (cause := case.ledger.last_cause(resource, earliest, row.start, skill)) is not None
    ]
    return max(causes, key=lambda cause: cause.until, default=None)


def _used(problem: Problem, group: str, row: Row) -> list[str]:
    if group == PEOPLE:
        return [row.technician]
    if group == SECOND:
        return [row.second_person] if row.second_person else []
    if group == FLOOR:
        place = problem.placements[row.placement]
        return sorted(place.zones | place.crosses)
    if group.startswith(NAMED):
        return [group.removeprefix(NAMED)]
    named = problem.operation_by_key[row.key].exact_units
    return [
        u for u in row.units if u not in named and f"unit {problem.unit_by_id[u].type}" == group
    ]


def _subject(case: _Case, group: str, row: Row, cause: Cause) -> str:
    problem, operation = case.problem, case.operation
    if group in (PEOPLE, SECOND):
        name = problem.technician_by_id[cause.resource].name
        if group == SECOND:
            return f"a second person is needed and {name}"
        able = [
            t for t in problem.technicians if not operation.skill or operation.skill in t.skills
        ]
        trade = f"technician for {words(operation.skill)}" if operation.skill else "technician"
        return _one_of(len(able), trade, name)
    if group == FLOOR:
        places = candidates(problem, operation, case.standing)
        label = problem.placements[row.placement].label
        return _one_of(len(places), "place with enough floor", label)
    unit = problem.unit_by_id[cause.resource]
    if group.startswith(NAMED):
        return unit.label
    count = len(problem.units_by_type[unit.type])
    if count == 1:
        return f"the only {unit.noun}"
    return _one_of(count, unit.noun, unit.label)


def _one_of(count: int, what: str, label: str) -> str:
    if count == 1:
        return f"the only {what}, {label},"
    return f"no {what} is free sooner: {label}"


def _never(case: _Case) -> Binding | None:
    """Something the shop does not have at all."""
    problem, operation = case.problem, case.operation
    skill = operation.skill
    if skill and not any(skill in t.skills for t in problem.technicians):
        return case.binding("skill", f"nobody here has the skill {words(skill)}", None)
    if operation.second_person_minutes and len(problem.technicians) < 2:
        says = f"{operation.name} needs two people and only one works here"
        return case.binding(SECOND, says, None)
    if operation.not_before >= problem.horizon:
        until = problem.clock(problem.horizon)
        says = f"what it waits for is expected at {problem.clock(operation.not_before)}"
        return case.binding("waiting", f"{says}, after {until}", operation.not_before)
    for kind in operation.equipment:
        needed = operation.equipment.count(kind)
        have = len(units_to_choose(problem, operation, kind))
        if have < needed:
            what = words(kind) if needed == 1 else f"second {words(kind)}"
            return case.binding("equipment", f"the shop has no {what}", None)
    if not operation.anywhere and not operation.placements:
        return case.binding(FLOOR, f"no floor is large enough for {operation.name}", None)
    return None


def _exhausted(case: _Case, adjective: str) -> Binding | None:
    """The group that is never there before the horizon, or without which there is a slot."""
    problem, operation = case.problem, case.operation
    until = problem.clock(problem.horizon)
    for group in _groups(case):
        others = [name for name in _groups(case) if name != group]
        alone = find_slot(case.calendar, operation, case.standing, others, leaves=case.leaves)
        rest = find_slot(case.calendar, operation, case.standing, [group], leaves=case.leaves)
        if alone is not None and rest is None:
            continue
        if group == PEOPLE:
            who = f"nobody with the skill {words(operation.skill)}" if operation.skill else "nobody"
            state = "on shift" if adjective == "available" else adjective
            return case.binding("skill", f"{who} is {state} long enough before {until}", None)
        if group == SECOND:
            return case.binding(SECOND, f"no second person is {adjective} before {until}", None)
        if group == FLOOR:
            says = f"no floor large enough for {operation.name} is {adjective} before {until}"
            return case.binding(FLOOR, says, None)
        if group.startswith(NAMED):
            label = problem.unit_by_id[group.removeprefix(NAMED)].label
            return case.binding("equipment", f"{label} is not {adjective} before {until}", None)
        noun = words(group.removeprefix("unit "))
        return case.binding("equipment", f"no {noun} is {adjective} before {until}", None)
    return None
