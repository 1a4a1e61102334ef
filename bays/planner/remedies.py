"""What might help a vehicle: changes of the shop or of the order of work, read off its chain."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import islice, pairwise
from typing import Literal

from bays.planner.answers import Link, Plan
from bays.planner.causes import words
from bays.planner.problem import (
    Operation,
    Placement,
    Problem,
    Row,
    Technician,
    Unit,
    Vehicle,
    Window,
)

RemedyKind = Literal["unit", "person", "longer", "earlier", "bay", "zones", "order", "promise"]

MORE_MINUTES = 60
PROMISE_MINUTES = 30
# How much a vehicle that goes before another counts while the plan is looked for.
GOES_FIRST = 10
# Of each kind, the causes nearest to the vehicle's end: more take time and rarely help.
MOST_OF_A_KIND = 2
ADDED = "+"


@dataclass(frozen=True, slots=True)
class Remedy:
    """One thing to try: what it is in words, the changed question, and which vehicles go first."""

    id: str
    kind: RemedyKind
    says: str
    problem: Problem
    first: tuple[str, ...]


def remedies(
    problem: Problem, plan: Plan, vehicle: str, chain: Sequence[Link]
) -> tuple[Remedy, ...]:
    """Everything worth a try for the vehicle, by the resources its chain names."""
    case = _Case(problem, {row.key: row for row in plan.rows}, vehicle, tuple(chain))
    found: list[Remedy] = []
    makers: tuple[Callable[[_Case], Iterator[Remedy]], ...] = (
        _units, _people, _longer, _earlier, _bays, _fewer_zones, _orders, _promises,
    )  # fmt: skip
    for make in makers:
        known = {remedy.id for remedy in found}
        fresh = (remedy for remedy in make(case) if remedy.id not in known)
        found += islice(fresh, MOST_OF_A_KIND)
    return tuple({remedy.id: remedy for remedy in found}.values())


@dataclass(frozen=True, slots=True)
class _Case:
    problem: Problem
    rows: dict[tuple[str, str], Row]
    vehicle: str
    chain: tuple[Link, ...]

    def remedy(
        self, name: str, kind: RemedyKind, says: str, problem: Problem, *others: str
    ) -> Remedy:
        return Remedy(f"{kind}:{name}", kind, says, problem, (self.vehicle, *others))

    def linked(self) -> Iterator[tuple[Link, Row]]:
        """Links with their rows, those after a wait for somebody or something first."""
        ordered = sorted(self.chain, key=lambda link: link.resource in ("order", "arrival", "now"))
        for link in ordered:
            yield link, self.rows[link.vehicle, link.operation]

    def own_rows(self) -> list[Row]:
        return [row for key, row in self.rows.items() if key[0] == self.vehicle]

    def technicians(self) -> Iterator[Technician]:
        """Who holds something up, then who is at the vehicle last."""
        people = self.problem.technician_by_id
        seen: set[str] = set()
        names = [link.resource for link, _ in self.linked() if link.resource in people]
        names += [row.technician for link, row in self.linked() if link.resource == "opening hours"]
        names += [row.technician for row in reversed(self.own_rows())]
        for name in names:
            if name not in seen:
                seen.add(name)
                yield people[name]


def _units(case: _Case) -> Iterator[Remedy]:
    """One more of each type that was waited for, then of those the vehicle's own steps use."""
    units = case.problem.unit_by_id
    short = [units[link.resource] for link, _ in case.linked() if link.resource in units]
    used = [units[name] for row in reversed(case.own_rows()) for name in row.units]
    only = [unit for unit in used if len(case.problem.units_by_type[unit.type]) == 1]
    for unit in [*short, *only]:
        yield case.remedy(
            unit.type, "unit", f"one more {unit.noun}", with_unit(case.problem, unit.type)
        )


def with_unit(problem: Problem, kind: str, number: int = 1) -> Problem:
    """One more unit of a type, always in service. Units that are needed by name stay single."""
    like = problem.unit_by_id[problem.units_by_type[kind][0]]
    unit = Unit(f"{like.id}{ADDED}{number}", kind, f"one more {like.noun}", (), like.type_label)
    return replace(problem, units=(*problem.units, unit))


def _people(case: _Case) -> Iterator[Remedy]:
    """One more person with just the skill that somebody was waited for with, on their shifts."""
    people = case.problem.technician_by_id
    for link, row in case.linked():
        operation = case.problem.operation_by_key[row.key]
        like = people.get(link.resource)
        if like is None:
            continue
        skill = operation.skill
        person = Technician(
            f"{like.id}{ADDED}1",
            "one more technician",
            {skill: like.skills.get(skill, ())} if skill else {},
            like.shifts,
        )
        what = f"one more technician for {words(skill)}" if skill else "one more technician"
        wider = replace(case.problem, technicians=(*case.problem.technicians, person))
        yield case.remedy(skill or "any", "person", f"{what}, on {like.name}'s shifts", wider)


def _longer(case: _Case) -> Iterator[Remedy]:
    return _shifts(case, "longer", "stays an hour longer", 0, MORE_MINUTES)


def _earlier(case: _Case) -> Iterator[Remedy]:
    return _shifts(case, "earlier", "starts an hour earlier", MORE_MINUTES, 0)


def _shifts(case: _Case, kind: RemedyKind, what: str, before: int, after: int) -> Iterator[Remedy]:
    """On each day up to the vehicle's end, of which at least one must still be ahead."""
    problem = case.problem
    until = max(row.end for row in case.own_rows())
    for person in case.technicians():
        days = [
            day
            for day in days_of(problem, person.shifts)
            if day[0].start <= until
            and (day[-1].end > problem.now if after else day[0].start - before >= problem.now)
        ]
        if not days:
            continue
        more = Technician(
            person.id, person.name, person.skills, stretched(person.shifts, days, before, after)
        )
        others = tuple(more if one.id == person.id else one for one in problem.technicians)
        hours = with_windows(problem.open, (_edge(day, before, after) for day in days))
        wider = replace(problem, technicians=others, open=hours)
        yield case.remedy(person.id, kind, f"{person.name} {what}{_when(problem, days)}", wider)


def _when(problem: Problem, days: Sequence[Sequence[Window]]) -> str:
    if len(days) == 1:
        day = problem.moment(days[0][0].start)
        same = day.date() == problem.moment(problem.now).date()
        return " today" if same else f" on {day:%a} {day.day} {day:%b}"
    return f" on each of {len(days)} days"


def _edge(day: Sequence[Window], before: int, after: int) -> Window:
    """The stretch of time that is new on a day."""
    if after:
        return Window(day[-1].end, day[-1].end + after)
    return Window(day[0].start - before, day[0].start)


def stretched(
    windows: Iterable[Window], days: Iterable[Sequence[Window]], before: int, after: int
) -> tuple[Window, ...]:
    """Windows with more time before the first or after the last of each of these days."""
    days = list(days)
    first = {day[0] for day in days}
    last = {day[-1] for day in days}
    return tuple(
        Window(
            max(0, w.start - before) if w in first else w.start,
            w.end + after if w in last else w.end,
        )
        for w in windows
    )


def with_windows(windows: Iterable[Window], more: Iterable[Window]) -> tuple[Window, ...]:
    """Windows with others added, joined where they meet."""
    joined: list[Window] = []
    for window in sorted([*windows, *more]):
        if joined and window.start <= joined[-1].end:
            joined[-1] = Window(joined[-1].start, max(joined[-1].end, window.end))
        else:
            joined.append(window)
    return tuple(joined)


def days_of(problem: Problem, windows: Iterable[Window]) -> list[tuple[Window, ...]]:
    """Windows grouped by the shop's calendar day they begin on."""
    grouped: dict[date, list[Window]] = {}
    for window in sorted(windows):
        grouped.setdefault(problem.moment(window.start).date(), []).append(window)
    return [tuple(own) for own in grouped.values()]


def _bays(case: _Case) -> Iterator[Remedy]:
    """One more of the place that was waited for, floor and all."""
    for place in _places_waited_for(case):
        copy = replace(
            place,
            id=f"{place.id}{ADDED}1",
            zones=frozenset(f"{zone}{ADDED}1" for zone in place.zones),
            label=f"one more {place.label}",
        )
        wider = with_placements(case.problem, {place.id: copy})
        yield case.remedy(place.label, "bay", f"one more place like {place.label}", wider)


def _fewer_zones(case: _Case) -> Iterator[Remedy]:
    """The place that was waited for, if it did not need the zone that was taken."""
    for link, row in case.linked():
        place = case.problem.placements[row.placement]
        if link.resource not in place.zones or len(place.zones) < 2:
            continue
        zone = zone_words(link.resource)
        fewer = replace(place, id=f"{place.id}{ADDED}less", zones=place.zones - {link.resource})
        wider = with_placements(case.problem, {place.id: fewer})
        says = f"{place.label} without the need of {zone}"
        yield case.remedy(f"{place.label}:{zone}", "zones", says, wider)


def zone_words(zone: str) -> str:
    return zone.rpartition(":")[2].replace("-", " ").replace("_", " ")


def _places_waited_for(case: _Case) -> Iterator[Placement]:
    for link, row in case.linked():
        place = case.problem.placements[row.placement]
        if link.resource in place.zones | place.crosses and place.kind == "floor":
            yield place


def with_placements(problem: Problem, more: dict[str, Placement]) -> Problem:
    """Placements added, each wherever the one it is keyed by may be chosen."""

    def wider(operation: Operation) -> Operation:
        extra = tuple(more[name].id for name in operation.placements if name in more)
        return replace(operation, placements=(*operation.placements, *extra))

    vehicles = tuple(
        replace(v, operations=tuple(wider(o) for o in v.operations)) for v in problem.vehicles
    )
    places = {**problem.placements, **{place.id: place for place in more.values()}}
    return replace(problem, vehicles=vehicles, placements=places)


def _orders(case: _Case) -> Iterator[Remedy]:
    """The vehicle before another where it waited for that one."""
    problem = case.problem
    for link, held_by in pairwise(case.chain):
        if link.vehicle != case.vehicle or held_by.vehicle == case.vehicle:
            continue
        key = (held_by.vehicle, held_by.operation)
        if key in problem.pin_by_key:
            continue
        minutes = problem.operation_by_key[link.vehicle, link.operation].minutes
        after = case.rows[key].start + minutes
        vehicles = tuple(_reordered(v, case.vehicle, key, after) for v in problem.vehicles)
        other = problem.vehicle_by_id[held_by.vehicle].label
        mine = problem.operation_by_key[link.vehicle, link.operation].name
        theirs = problem.operation_by_key[key].name
        says = f"its {mine} before {other}'s {theirs}"
        changed = replace(problem, vehicles=vehicles)
        yield case.remedy(held_by.vehicle, "order", says, changed, held_by.vehicle)


def _reordered(vehicle: Vehicle, first: str, later: tuple[str, str], after: int) -> Vehicle:
    if vehicle.id == first:
        return replace(vehicle, weight=vehicle.weight * GOES_FIRST)
    if vehicle.id != later[0]:
        return vehicle
    operations = tuple(
        replace(o, not_before=max(o.not_before, after)) if o.id == later[1] else o
        for o in vehicle.operations
    )
    return replace(vehicle, operations=operations)


def _promises(case: _Case) -> Iterator[Remedy]:
    """Half an hour more for the vehicle, or for the first other one in its chain."""
    others = [link.vehicle for link in case.chain if link.vehicle != case.vehicle]
    for name in [case.vehicle, *others[:1]]:
        vehicle = case.problem.vehicle_by_id[name]
        later = replace(vehicle, due=vehicle.due + PROMISE_MINUTES)
        vehicles = tuple(later if v.id == name else v for v in case.problem.vehicles)
        who = "its promise" if name == case.vehicle else f"the promise of {vehicle.label}"
        says = f"{who} {PROMISE_MINUTES} minutes later, {case.problem.clock(later.due)}"
        yield case.remedy(name, "promise", says, replace(case.problem, vehicles=vehicles))
