"""Why a step cannot start at a time, in words: what stands in the way, and until when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from bays.planner.calendar import cell_at_or_after, cell_span, starts_of
from bays.planner.feasible import Case, Masks, runs
from bays.planner.holding import Hold, holds, rows_by_vehicle
from bays.planner.problem import GRID_MINUTES, Placement, Technician, Window


@dataclass(frozen=True, slots=True)
class Hindrance:
    """Starts that are not possible (a mask of cells), and why."""

    cells: int
    says: str


@dataclass(frozen=True)
class Hindrances:
    """Everything that stands in the way of one step, when what follows it may move along.

    `zone_names` are what people call zones; `waits_for` says what a lag is for.
    """

    case: Case
    masks: Masks
    window: Window
    zone_names: Mapping[str, str] = field(default_factory=dict)
    waits_for: str = ""

    @cached_property
    def _holds(self) -> dict[str, list[Hold]]:
        found: dict[str, list[Hold]] = defaultdict(list)
        for rows in rows_by_vehicle(self.case.kept).values():
            for hold in holds(self.case.problem, rows):
                own = hold.row.vehicle == self.case.vehicle.id
                if not (own and hold.why):
                    found[hold.resource].append(hold)
        for several in found.values():
            several.sort(key=lambda hold: -hold.end)
        return found

    def clock(self, minute: int) -> str:
        return self.case.problem.clock(minute)

    def name(self, zone: str) -> str:
        if zone in self.zone_names:
            return self.zone_names[zone]
        places = self.case.problem.placements.values()
        return next((p.label for p in places if p.zones == {zone}), zone)

    def shared(self) -> Iterator[Hindrance]:
        """Whatever place and whoever does it: hours, the clock, and the vehicle's own order."""
        case, problem = self.case, self.case.problem
        calendar = self.masks.calendar
        yield Hindrance(~calendar.open, "the shop is closed then")
        yield from self._past()
        fits = starts_of(calendar.open, case.cells)
        for first, last in runs(calendar.open & ~fits, *self._cells()):
            says = f"it would not be done before the shop closes at {self.clock(self._shuts(last))}"
            yield Hindrance(cell_span(first, last + 1), says)
        later = self.masks.later
        if later is not None:
            latest = (later.start - case.operation.minutes) // GRID_MINUTES
            name = problem.operation_by_key[later.key].name
            says = f"{name} of {case.vehicle.label} is kept at {self.clock(later.start)}"
            yield Hindrance(-1 << max(latest + 1, 0), says)

    def _cells(self) -> tuple[int, int]:
        return self.window.start // GRID_MINUTES, cell_at_or_after(self.window.end)

    def _shuts(self, cell: int) -> int:
        minute = cell * GRID_MINUTES
        return max((w.end for w in self.case.problem.open if w.start <= minute), default=minute)

    def _past(self) -> Iterator[Hindrance]:
        case, problem, operation = self.case, self.case.problem, self.case.operation
        ready = case.standing.ready
        yield _before(problem.now, f"what is before {self.clock(problem.now)} is past")
        if case.earlier is None:
            yield _before(ready, f"the vehicle is here from {self.clock(ready)}")
        else:
            name = problem.operation_by_key[case.earlier.key].name
            yield _before(ready, f"{name} comes first and is done at {self.clock(ready)}")
        until = self.clock(ready + operation.lag)
        if operation.lag:
            why = f": {self.waits_for}" if self.waits_for else ""
            yield _before(ready + operation.lag, f"not before {until}{why}")
        if operation.not_before:
            says = f"not before {self.clock(operation.not_before)}: it waits for something"
            yield _before(operation.not_before, says)

    def place(self, place: Placement) -> Iterator[Hindrance]:
        """What keeps a place from being used."""
        for zone in sorted(place.zones):
            yield from self._resource(zone, self.name(zone), "is taken by")
        shut = ~self.masks.floor(place)
        reached = self._reached(place)
        if reached is not None:
            yield reached
        says = f"the vehicle could not get to {place.label} and on in time"
        yield Hindrance(shut, says)

    def _reached(self, place: Placement) -> Hindrance | None:
        problem, standing = self.case.problem, self.case.standing
        gap = problem.travel_minutes(standing.placement, place.id)
        arrives = max(problem.now, standing.ready) + gap
        return _before(arrives, f"it takes until {self.clock(arrives)} to move it there")

    def person(self, who: Technician) -> Iterator[Hindrance]:
        """What keeps a technician from doing it."""
        skill = self.case.operation.skill
        if skill is not None and skill not in who.skills:
            yield Hindrance(-1, f"{who.name} has no skill for {spoken(self.case.operation.name)}")
            return
        yield from self._resource(who.id, who.name, "is on")
        for gap in _gaps(who.shifts, self.window):
            until = f" until {self.clock(gap.end)}" if gap.end < self.window.end else ""
            yield self._during(gap.start, gap.end, f"{who.name} is off{until}")
        name = spoken(self.case.operation.name)
        yield Hindrance(~self.masks.person(who.id), f"{who.name} may not do {name} then")

    def people(self) -> Iterator[Hindrance]:
        """What keeps anybody from doing it: the one person's reasons, or that nobody is free."""
        operation = self.case.operation
        able = [
            t
            for t in self.case.problem.technicians
            if operation.skill is None or operation.skill in t.skills
        ]
        name = spoken(operation.name)
        if not able:
            yield Hindrance(-1, f"nobody here has the skill for {name}")
        elif len(able) == 1:
            yield from self.person(able[0])
        else:
            free = 0
            for technician in able:
                free |= self.masks.person(technician.id)
            yield from self._until_free(~free, f"no technician for {name} is free")

    def needs(self) -> Iterator[Hindrance]:
        """Equipment and a second person."""
        problem = self.case.problem
        for need, free in self.masks.needs().items():
            if need == "second":
                yield from self._until_free(~free, "a second person is needed and nobody is free")
                continue
            kind = need.removeprefix("type ")
            units = problem.units_by_type.get(kind, ()) if need != kind else (need,)
            if len(units) == 1:
                unit = problem.unit_by_id[units[0]]
                yield from self._resource(unit.id, unit.label, "is on")
            noun = problem.unit_by_id[units[0]].noun if units else kind.replace("_", " ")
            yield from self._until_free(~free, f"no {spoken(noun)} is free")

    def floor(self) -> Iterator[Hindrance]:
        """What keeps every place from being used."""
        places = self.case.places
        if len(places) == 1:
            yield from self.place(places[0])
            return
        free = 0
        for place in places:
            free |= self.masks.floor(place)
        name = spoken(self.case.operation.name)
        yield from self._until_free(~free, f"no place for {name} is free")

    def _resource(self, resource: str, name: str, verb: str) -> Iterator[Hindrance]:
        problem = self.case.problem
        for hold in self._holds.get(resource, ()):
            label = problem.vehicle_by_id[hold.row.vehicle].label
            drives = f" ({hold.why})" if hold.why else ""
            says = f"{name} {verb} {label}{drives} until {self.clock(hold.end)}"
            yield self._during(hold.start, hold.end, says)
        unit = problem.unit_by_id.get(resource)
        for window in unit.unavailable if unit else ():
            says = f"{name} is out of service until {self.clock(window.end)}"
            yield self._during(*window, says)
        for block in problem.blocked:
            if block.resource_id == resource and block.vehicle != self.case.vehicle.id:
                says = f"{name} is shut until {self.clock(block.window.end)} ({block.reason})"
                yield self._during(*block.window, says)

    def _during(self, start: int, end: int, says: str) -> Hindrance:
        """Starts whose work would meet these minutes."""
        first = start // GRID_MINUTES - self.case.cells + 1
        return Hindrance(cell_span(first, cell_at_or_after(end)), says)

    def _until_free(self, shut: int, says: str) -> Iterator[Hindrance]:
        """One hindrance for each stretch, naming the minute from which it is free again."""
        for first, last in runs(shut, *self._cells()):
            again = (last + 1) * GRID_MINUTES
            until = (
                f" before {self.clock(again)}"
                if again < self.window.end
                else " for the rest of that day"
            )
            yield Hindrance(cell_span(first, last + 1), says + until)


def spoken(name: str) -> str:
    """A name inside a sentence: `surround view`, but `ADAS check` as it is."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def _before(minute: int, says: str) -> Hindrance:
    return Hindrance(cell_span(0, cell_at_or_after(minute)), says)


def _gaps(shifts: tuple[Window, ...], window: Window) -> Iterator[Window]:
    """Stretches of a window outside the shifts."""
    at = window.start
    for shift in sorted(shifts):
        if shift.end <= window.start or shift.start >= window.end:
            continue
        if shift.start > at:
            yield Window(at, shift.start)
        at = max(at, shift.end)
    if at < window.end:
        yield Window(at, window.end)
