"""Where one step of a plan can go that day, everything else staying put, and why not elsewhere.

Free time is read from the planner's bit masks: bit t stands for a start five times t minutes
after the origin. What is open here has not passed `verify` yet; `moved` in `step_move` asks it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from bays.planner.answers import Plan
from bays.planner.calendar import (
    Calendar,
    at_least,
    cell_at_or_after,
    cell_span,
    from_cell,
    starts_of,
)
from bays.planner.holding import rows_by_vehicle
from bays.planner.moves import Standing, may_leave, ways_clear
from bays.planner.problem import (
    GRID_MINUTES,
    Operation,
    OperationKey,
    Placement,
    Problem,
    Row,
    Vehicle,
    Window,
)

SpanKind = Literal["open", "along", "late", "shut"]


@dataclass(frozen=True, slots=True)
class Span:
    """Starts from minute `first` to `last` (the last one counts) that are alike.

    `open`: nothing else moves. `along`: what follows in the vehicle has to move as well. `late`:
    possible, but past the promise. `shut`: not possible, `says` why; `placement` and
    `technician` are then None.
    """

    first: int
    last: int
    kind: SpanKind
    says: str = ""
    placement: str | None = None
    technician: str | None = None


@dataclass(frozen=True, slots=True)
class Where:
    """For each zone and technician the starts in `window`, in order and without a gap.

    In a zone's row whoever does it now goes on doing it where they can; in a technician's row
    it stays in its place where it can.
    """

    key: OperationKey
    row: Row | None
    minutes: int
    window: Window
    rows: Mapping[str, tuple[Span, ...]]


def loosened(
    problem: Problem,
    key: OperationKey,
    *,
    minutes: int | None = None,
    lag: int | None = None,
) -> Problem:
    """The problem in which this operation is not pinned, with its own length and lag again."""

    def changed(operation: Operation) -> Operation:
        if operation.id != key[1]:
            return operation
        return replace(
            operation,
            minutes=operation.minutes if minutes is None else minutes,
            lag=operation.lag if lag is None else lag,
        )

    vehicles = tuple(
        replace(v, operations=tuple(changed(o) for o in v.operations)) if v.id == key[0] else v
        for v in problem.vehicles
    )
    pins = tuple(pin for pin in problem.pins if pin.key != key)
    return replace(problem, vehicles=vehicles, pins=pins)


@dataclass(frozen=True)
class Case:
    """One step taken out of the plan, with its neighbours in the vehicle.

    `loose` are the later steps that may move along: all that are not pinned.
    """

    problem: Problem
    plan: Plan
    key: OperationKey

    @cached_property
    def vehicle(self) -> Vehicle:
        return self.problem.vehicle_by_id[self.key[0]]

    @cached_property
    def operation(self) -> Operation:
        return self.problem.operation_by_key[self.key]

    @cached_property
    def number(self) -> int:
        return self.vehicle.operations.index(self.operation)

    @cached_property
    def cells(self) -> int:
        return cell_at_or_after(self.operation.minutes)

    @cached_property
    def own(self) -> dict[str, Row]:
        return {row.operation: row for row in self.plan.rows if row.vehicle == self.vehicle.id}

    @cached_property
    def row(self) -> Row | None:
        return self.own.get(self.operation.id)

    @cached_property
    def earlier(self) -> Row | None:
        before = self.vehicle.operations[: self.number]
        rows = [self.own[o.id] for o in before if o.id in self.own]
        return rows[-1] if rows else None

    @cached_property
    def following(self) -> tuple[Row, ...]:
        after = self.vehicle.operations[self.number + 1 :]
        return tuple(self.own[o.id] for o in after if o.id in self.own)

    @cached_property
    def loose(self) -> frozenset[OperationKey]:
        return frozenset(r.key for r in self.following if r.key not in self.problem.pin_by_key)

    @cached_property
    def others(self) -> tuple[Row, ...]:
        return tuple(row for row in self.plan.rows if row.vehicle != self.vehicle.id)

    @cached_property
    def alone(self) -> Calendar:
        """Free time with everything in it but this step."""
        return self._without({self.key})

    @cached_property
    def along(self) -> Calendar:
        """Free time when what follows in the vehicle is taken out as well."""
        return self._without({self.key} | self.loose) if self.loose else self.alone

    @cached_property
    def kept(self) -> tuple[Row, ...]:
        """Rows that stay, even when what follows moves along."""
        out = {self.key} | self.loose
        return tuple(row for row in self.plan.rows if row.key not in out)

    @cached_property
    def standing(self) -> Standing:
        if self.earlier is None:
            stands = self.vehicle.stands or self.problem.lot
            return Standing(stands, self.vehicle.release, kept=False)
        return Standing(self.earlier.placement, self.earlier.end)

    @cached_property
    def ready(self) -> int:
        """The minute from which the steps before allow it, wherever it is done."""
        operation = self.operation
        return max(self.standing.ready + operation.lag, operation.not_before, self.problem.now)

    @cached_property
    def promise(self) -> int:
        """What may not be passed: the promise, or the finish in force where that is later."""
        finish = max((row.end for row in self.own.values()), default=0)
        return max(self.vehicle.due, finish)

    @cached_property
    def places(self) -> tuple[Placement, ...]:
        """Places to try, the present one first, then the fewest zones and the widest margin."""
        operation, problem = self.operation, self.problem
        names = set(operation.placements)
        if operation.anywhere:
            rows = (self.row, self.earlier, *self.following[:1])
            names = {problem.lot, self.standing.placement} | {r.placement for r in rows if r}
        now = self.row.placement if self.row else ""
        found = [problem.placements[name] for name in names]
        if operation.anywhere:
            found = [place for place in found if place.kind != "road"]
        return tuple(
            sorted(found, key=lambda p: (p.id != now, len(p.zones), -(p.margin_mm or 0.0), p.id))
        )

    @cached_property
    def people(self) -> tuple[str, ...]:
        """Technicians, whoever does it now first, then those with the fewest skills."""
        now = self.row.technician if self.row else ""
        able = sorted(self.problem.technicians, key=lambda t: (t.id != now, len(t.skills), t.id))
        return tuple(t.id for t in able)

    def _without(self, out: set[OperationKey]) -> Calendar:
        calendar = Calendar(self.problem)
        for rows in rows_by_vehicle(r for r in self.plan.rows if r.key not in out).values():
            calendar.occupy(rows)
        return calendar.seen_by(self.vehicle.id)


class Masks:
    """Starts that are free by each need of the step, with or without what follows it."""

    def __init__(self, case: Case, *, along: bool) -> None:
        self.case = case
        self.calendar = case.along if along else case.alone
        pinned = [row for row in case.following if row.key not in case.loose]
        later = pinned if along else list(case.following)
        self.later = later[0] if later else None
        self.adjoins = self.later is not None and (not along or self.later is case.following[0])
        self.common = self._common()
        self._people: dict[str, int] = {}

    def _common(self) -> int:
        case, calendar = self.case, self.calendar
        mask = starts_of(calendar.open, case.cells)
        mask = from_cell(mask, cell_at_or_after(case.ready))
        for starts in self.needs().values():
            mask &= starts
        return mask

    def needs(self) -> dict[str, int]:
        """By kind of equipment, by unit asked for by name, and for a second person."""
        case, calendar = self.case, self.calendar
        operation, problem = case.operation, case.problem
        masks = {unit: calendar.starts(unit, case.cells) for unit in operation.exact_units}
        for kind in set(operation.equipment):
            units = [
                unit
                for unit in problem.units_by_type.get(kind, ())
                if unit not in operation.exact_units
            ]
            starts = (calendar.starts(unit, case.cells) for unit in units)
            masks[f"type {kind}"] = at_least(operation.equipment.count(kind), starts)
        if operation.second_person_minutes:
            helpers = cell_at_or_after(operation.second_person_minutes)
            masks["second"] = at_least(
                2, (calendar.starts(t.id, helpers) for t in problem.technicians)
            )
        return masks

    def person(self, technician: str) -> int:
        mask = self._people.get(technician)
        if mask is None:
            case = self.case
            mask = self.calendar.starts(technician, case.cells, case.operation.skill)
            self._people[technician] = mask
        return mask

    def drives(self, technician: str, place: Placement) -> int:
        """Where technicians drive, theirs are the minutes of the move to the step as well."""
        problem = self.case.problem
        if not problem.technicians_drive:
            return -1
        minutes = problem.travel_minutes(self.case.standing.placement, place.id)
        return self.calendar.clear_at(technician, -minutes, 0) if minutes else -1

    def floor(self, place: Placement) -> int:
        """Its zones are free, the vehicle gets there in time, and on to what follows."""
        mask = self._reached(place) & self._left(place)
        for zone in place.zones:
            mask &= self.calendar.starts(zone, self.case.cells)
        return mask

    def _reached(self, place: Placement) -> int:
        """Staying where it stands until it sets off, or parked meanwhile."""
        case, problem, calendar = self.case, self.case.problem, self.calendar
        standing, leaves = case.standing, self.later is None and not case.loose
        base = max(problem.now, standing.ready)

        def clear(park: bool) -> int:
            return ways_clear(calendar, case.operation, standing, place, park, leaves)

        gap = problem.travel_minutes(standing.placement, place.id)
        last = calendar.cells
        if standing.kept:
            last = self._free_until(standing.placement, standing.ready) + gap // GRID_MINUTES
            if standing.placement == place.id:
                last -= case.cells
        mask = cell_span(cell_at_or_after(base + gap), last + 1) & clear(False)
        if standing.kept and problem.placements[standing.placement].zones:
            there = problem.travel_minutes(standing.placement, problem.lot)
            back = problem.travel_minutes(problem.lot, place.id)
            mask |= cell_span(cell_at_or_after(base + there + back), calendar.cells) & clear(True)
        return mask

    def _free_until(self, placement: str, minute: int) -> int:
        """The cell up to which the zones of a placement are free from a minute on."""
        base, free = cell_at_or_after(minute), (1 << self.calendar.cells) - 1
        for zone in self.case.problem.placements[placement].zones:
            free &= self.calendar.free[zone]
        taken = ~(free >> base)
        return base + (taken & -taken).bit_length() - 1

    def _left(self, place: Placement) -> int:
        """What follows at its fixed time is reached: from here, or from being parked."""
        case, problem, later = self.case, self.case.problem, self.later
        if later is None:
            return -1
        if not self.adjoins:
            return cell_span(0, (later.start - case.operation.minutes) // GRID_MINUTES + 1)
        lag = problem.operation_by_key[later.key].lag
        gap = problem.travel_minutes(place.id, later.placement)
        ends = min(later.start - lag, later.start - gap) - case.operation.minutes
        mask = cell_span(self._taken_before(place, later.start - gap), ends // GRID_MINUTES + 1)
        if gap and not may_leave(self.calendar, Standing(place.id, later.start), later.start - gap):
            mask = 0
        if place.zones:
            there = problem.travel_minutes(place.id, problem.lot)
            back = problem.travel_minutes(problem.lot, later.placement)
            ends = min(later.start - lag, later.start - there - back) - case.operation.minutes
            mask |= cell_span(0, ends // GRID_MINUTES + 1)
        return mask

    def _taken_before(self, place: Placement, minute: int) -> int:
        """The cell from which the zones of a place are free up to a minute."""
        stop = cell_at_or_after(minute)
        free = cell_span(0, stop)
        for zone in place.zones:
            free &= self.calendar.free[zone]
        return (cell_span(0, stop) & ~free).bit_length()


def runs(mask: int, first: int, stop: int) -> Iterable[tuple[int, int]]:
    """First and last cell of each run of set bits among first .. stop-1."""
    mask &= cell_span(first, stop)
    while mask:
        begin = (mask & -mask).bit_length() - 1
        length = ((mask >> begin) ^ ((mask >> begin) + 1)).bit_length() - 1
        yield begin, begin + length - 1
        mask &= ~cell_span(begin, begin + length)
