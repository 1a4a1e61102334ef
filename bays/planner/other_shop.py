"""The same demand in another shop: one thing added or taken away, or other hours."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from bays.planner.problem import Placement, Problem, Technician, Window
from bays.planner.remedies import (
    ADDED,
    days_of,
    with_placements,
    with_unit,
    with_windows,
    zone_words,
)

SATURDAY = 5


@dataclass(frozen=True, slots=True)
class AddUnit:
    type: str


@dataclass(frozen=True, slots=True)
class RemoveUnit:
    unit: str


@dataclass(frozen=True, slots=True)
class AddPerson:
    """Somebody with the skills and the shifts of one who is here."""

    like: str


@dataclass(frozen=True, slots=True)
class RemovePerson:
    technician: str


@dataclass(frozen=True, slots=True)
class AddBay:
    """The floor of a bay once more: its own zones are new, what lies around it stays shared."""

    zones: frozenset[str]


@dataclass(frozen=True, slots=True)
class RemoveBay:
    zones: frozenset[str]


@dataclass(frozen=True, slots=True)
class ChangeHours:
    """Open earlier and later every day, with whoever begins at opening or ends at closing.

    Below zero it is less. `saturday` opens on Saturdays as on the Friday before, with the same
    people.
    """

    earlier_minutes: int = 0
    later_minutes: int = 0
    saturday: bool = False


Change = AddUnit | RemoveUnit | AddPerson | RemovePerson | AddBay | RemoveBay | ChangeHours


class NoSuchThing(LookupError):
    """What is to be copied or taken away is not in this shop."""


def other_shop(problem: Problem, change: Change, number: int = 1) -> Problem:
    """The problem with the change made; `number` tells apart what is added more than once.

    Raises:
        NoSuchThing: the shop has none of what is to be copied or removed.
    """
    match change:
        case AddUnit(kind):
            _known(kind, problem.units_by_type)
            return with_unit(problem, kind, number)
        case RemoveUnit(unit):
            _known(unit, problem.unit_by_id)
            return replace(problem, units=tuple(u for u in problem.units if u.id != unit))
        case AddPerson(like):
            _known(like, problem.technician_by_id)
            return _with_person(problem, problem.technician_by_id[like], number)
        case RemovePerson(name):
            _known(name, problem.technician_by_id)
            left = tuple(t for t in problem.technicians if t.id != name)
            return replace(problem, technicians=left)
        case AddBay(zones):
            return _with_bay(problem, zones, number)
        case RemoveBay(zones):
            return _without_bay(problem, zones)
        case ChangeHours():
            return _with_hours(problem, change)


def _known(name: str, there: Iterable[str]) -> None:
    if name not in there:
        raise NoSuchThing(name)


def _with_person(problem: Problem, like: Technician, number: int) -> Problem:
    person = replace(like, id=f"{like.id}{ADDED}{number}", name=f"one more like {like.name}")
    return replace(problem, technicians=(*problem.technicians, person))


def _standing_in(problem: Problem, zones: frozenset[str]) -> list[Placement]:
    found = [place for place in problem.placements.values() if place.zones & zones]
    if not found and not zones & problem.every_zone:
        raise NoSuchThing(", ".join(sorted(map(zone_words, zones))))
    return found


def _with_bay(problem: Problem, zones: frozenset[str], number: int) -> Problem:
    """A twin of every placement that needs one of the zones."""
    mark = f"{ADDED}{number}"
    twins = {
        place.id: replace(
            place,
            id=f"{place.id}{mark}",
            zones=frozenset(f"{zone}{mark}" if zone in zones else zone for zone in place.zones),
            crosses=place.crosses - zones,
            label=f"one more {place.label}",
        )
        for place in _standing_in(problem, zones)
    }
    return with_placements(problem, twins)


def _without_bay(problem: Problem, zones: frozenset[str]) -> Problem:
    """No vehicle may stand there any more; driving across stays allowed."""
    gone = {place.id for place in _standing_in(problem, zones)}
    vehicles = tuple(
        replace(
            v,
            operations=tuple(
                replace(o, placements=tuple(p for p in o.placements if p not in gone))
                for o in v.operations
            ),
        )
        for v in problem.vehicles
    )
    places = {name: place for name, place in problem.placements.items() if name not in gone}
    return replace(problem, vehicles=vehicles, placements=places, zones=problem.every_zone)


def _with_hours(problem: Problem, change: ChangeHours) -> Problem:
    days = days_of(problem, problem.open)
    edges = {day[0].start for day in days}, {day[-1].end for day in days}

    def longer(windows: Iterable[Window]) -> tuple[Window, ...]:
        found = [_longer(day, edges, change) for day in days_of(problem, windows)]
        return with_windows([w for day in found for w in day if w.start < w.end], ())

    people = tuple(replace(one, shifts=longer(one.shifts)) for one in problem.technicians)
    wider = replace(problem, open=longer(problem.open), technicians=people)
    return _with_saturdays(wider) if change.saturday else wider


def _longer(
    day: Sequence[Window], edges: tuple[set[int], set[int]], change: ChangeHours
) -> list[Window]:
    """A day of windows, longer at the ends where it begins at opening or ends at closing."""
    opens, closes = edges
    own = list(day)
    if own[0].start in opens:
        own[0] = Window(max(0, own[0].start - change.earlier_minutes), own[0].end)
    if day[-1].end in closes:
        own[-1] = Window(own[-1].start, own[-1].end + change.later_minutes)
    return own


def _with_saturdays(problem: Problem) -> Problem:
    """Fridays once more, a day later by the shop's clock, where that day is not open yet."""
    friday = SATURDAY - 1
    days = {problem.moment(day[0].start).date() for day in days_of(problem, problem.open)}

    def extra(windows: Iterable[Window]) -> list[Window]:
        found = []
        for window in windows:
            begins = problem.moment(window.start)
            if begins.weekday() != friday:
                continue
            shift = _a_day_later(problem, window.start)
            if problem.moment(window.start + shift).date() in days:
                continue
            if window.end + shift <= problem.horizon:
                found.append(Window(window.start + shift, window.end + shift))
        return found

    people = tuple(
        replace(one, shifts=with_windows(one.shifts, extra(one.shifts)))
        for one in problem.technicians
    )
    hours = with_windows(problem.open, extra(problem.open))
    return replace(problem, open=hours, technicians=people)


def _a_day_later(problem: Problem, minute: int) -> int:
    """Minutes to the same time of day on the next one: 1,380 or 1,500 over a clock change."""
    now, later = problem.moment(minute), problem.moment(minute + 1440)
    off = (now.utcoffset() or now - now) - (later.utcoffset() or now - now)
    return 1440 + round(off.total_seconds() / 60)
