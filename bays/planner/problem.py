"""What the planner is asked: people, units, floor and vehicles, in whole minutes since an origin.

Everything is frozen and free of Django. Minutes count real elapsed time from `Problem.origin`,
so a day with a clock change is 1380 or 1500 minutes long. The origin's time zone is the one
that words for people speak in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import Literal, NamedTuple

GRID_MINUTES = 5

PlacementKind = Literal["floor", "lot", "road"]
OperationKey = tuple[str, str]


class Window(NamedTuple):
    """Half-open stretch of minutes, `start <= t < end`."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a vehicle may stand for an operation and the zones that are then its own.

    `crosses` are other zones that the vehicle drives through on its way in and out, which takes
    `drive_minutes` (None: the shop's `move_minutes`). They are its own for just those minutes.
    """

    id: str
    zones: frozenset[str]
    kind: PlacementKind
    label: str
    margin_mm: float | None = None
    drive_minutes: int | None = None
    crosses: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Technician:
    """A person; each skill carries the windows in which it is valid."""

    id: str
    name: str
    skills: Mapping[str, tuple[Window, ...]]
    shifts: tuple[Window, ...]


@dataclass(frozen=True, slots=True)
class Unit:
    """One physical piece of equipment; out of service or overdue for upkeep is `unavailable`."""

    id: str
    type: str
    label: str
    unavailable: tuple[Window, ...] = ()
    type_label: str = ""

    @property
    def noun(self) -> str:
        return self.type_label or self.type.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Operation:
    """A schedulable step of a visit.

    `lag` is counted in minutes from the end of the operation before it (from the vehicle's
    release for the first one) and runs through closures. `anywhere` means wherever the vehicle
    stands, the lot included and the road not. For the first `second_person_minutes` another
    technician on shift, of any skill, lends a hand. It cannot start before minute `not_before`
    (a part arrives, somebody has to agree). `exact_units` are units needed by name besides one
    of each type in `equipment`.

    `set_up` names what is set out for it. An operation that begins the minute the one before it
    ends, where that one has the same `set_up`, in the same placement, with the same units,
    needs nothing cleared away and set out again: it lasts `shared_minutes` less.
    """

    id: str
    kind: str
    minutes: int
    skill: str | None
    equipment: tuple[str, ...]
    placements: tuple[str, ...]
    anywhere: bool = False
    lag: int = 0
    second_person_minutes: int = 0
    label: str = ""
    not_before: int = 0
    exact_units: tuple[str, ...] = ()
    set_up: str = ""
    shared_minutes: int = 0

    @property
    def name(self) -> str:
        return self.label or self.kind.replace("_", " ")


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A visit to plan: here from `release`, promised for `due`, operations in order.

    `stands` is the placement it is in at its release, where that is not the lot. Each minute
    here costs `flow_weight` times the shop's flow cost: 0 for work that may wait for quiet
    hours, such as upkeep.
    """

    id: str
    label: str
    release: int
    due: int
    weight: int
    operations: tuple[Operation, ...]
    stands: str | None = None
    flow_weight: int = 1


@dataclass(frozen=True, slots=True)
class Row:
    """One operation in a plan: who, when, with what, where, and whether it is parked after."""

    vehicle: str
    operation: str
    start: int
    end: int
    technician: str
    second_person: str | None
    units: tuple[str, ...]
    placement: str
    park_after: bool = False

    @property
    def key(self) -> OperationKey:
        return (self.vehicle, self.operation)


@dataclass(frozen=True, slots=True)
class Blocked:
    """A zone, technician or unit that may not be used in a window, and why.

    `vehicle` is set where that vehicle itself is the reason: others may not use it then.
    """

    resource_id: str
    window: Window
    reason: str
    vehicle: str | None = None


@dataclass(frozen=True, slots=True)
class Costs:
    """What a plan pays: per weighted minute late, minute in the shop, move and change."""

    tardy: int = 20
    flow: int = 1
    move: int = 10
    changed_start: int = 3
    changed_resource: int = 3


@dataclass(frozen=True)
class Problem:
    """Everything a plan depends on. Pins are facts or orders: they keep all but `park_after`.

    `zones` names floor that may be blocked though no placement here needs it. With
    `technicians_drive` whoever does an operation brings the vehicle to it: they are taken for the
    minutes of that move as well (of fetching it from the lot, where it was parked before). Pinned
    rows are facts and take nobody for longer than they last.
    """

    origin: datetime
    now: int
    horizon: int
    move_minutes: int
    open: tuple[Window, ...]
    placements: Mapping[str, Placement]
    technicians: tuple[Technician, ...]
    units: tuple[Unit, ...]
    vehicles: tuple[Vehicle, ...]
    pins: tuple[Row, ...] = ()
    previous: tuple[Row, ...] = ()
    blocked: tuple[Blocked, ...] = ()
    costs: Costs = field(default_factory=Costs)
    zones: frozenset[str] = frozenset()
    technicians_drive: bool = False

    @cached_property
    def every_zone(self) -> frozenset[str]:
        places = self.placements.values()
        return self.zones.union(*(place.zones | place.crosses for place in places))

    @cached_property
    def vehicle_by_id(self) -> dict[str, Vehicle]:
        return {vehicle.id: vehicle for vehicle in self.vehicles}

    @cached_property
    def operation_by_key(self) -> dict[OperationKey, Operation]:
        return {(v.id, o.id): o for v in self.vehicles for o in v.operations}

    @cached_property
    def technician_by_id(self) -> dict[str, Technician]:
        return {technician.id: technician for technician in self.technicians}

    @cached_property
    def unit_by_id(self) -> dict[str, Unit]:
        return {unit.id: unit for unit in self.units}

    @cached_property
    def units_by_type(self) -> dict[str, tuple[str, ...]]:
        types = {unit.type for unit in self.units}
        return {kind: tuple(u.id for u in self.units if u.type == kind) for kind in types}

    @cached_property
    def has_crossings(self) -> bool:
        """Whether vehicles drive through zones that are not their own to stand in."""
        return any(placement.crosses for placement in self.placements.values())

    @cached_property
    def lot(self) -> str:
        """The placement vehicles arrive in and are parked in."""
        return next(p.id for p in self.placements.values() if p.kind == "lot")

    @cached_property
    def pin_by_key(self) -> dict[OperationKey, Row]:
        return {row.key: row for row in self.pins}

    @cached_property
    def previous_by_key(self) -> dict[OperationKey, Row]:
        return {row.key: row for row in self.previous}

    def moment(self, minute: int) -> datetime:
        """The minute as a datetime in the origin's zone, counting elapsed time, not wall time."""
        instant = self.origin.astimezone(UTC) + timedelta(minutes=minute)
        return instant.astimezone(self.origin.tzinfo)

    def clock(self, minute: int) -> str:
        """`11:15`, with the weekday and date in front when it is not today's date."""
        moment = self.moment(minute)
        if moment.date() == self.moment(self.now).date():
            return f"{moment:%H:%M}"
        return f"{moment:%a} {moment.day} {moment:%b} {moment:%H:%M}"

    def drive_minutes(self, placement: str) -> int:
        """Minutes to drive in or out of a placement; none for the lot and the road."""
        known = self.placements[placement]
        if known.kind != "floor":
            return 0
        return self.move_minutes if known.drive_minutes is None else known.drive_minutes

    def travel_minutes(self, start: str, end: str) -> int:
        """Minutes a move takes: none to stay, none to or from the road.

        From one place on the floor to another it is the way out and the way in. A move of
        which no part is known takes the shop's usual minutes.
        """
        ends = self.placements[start], self.placements[end]
        if start == end or any(place.kind == "road" for place in ends):
            return 0
        if all(place.drive_minutes is None for place in ends):
            return self.move_minutes
        return self.drive_minutes(start) + self.drive_minutes(end)
