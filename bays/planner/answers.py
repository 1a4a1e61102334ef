"""What the planner answers. A plan, a proof of none, no proof, and a broken question differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from bays.planner.problem import Problem, Row, Vehicle, Window


@dataclass(frozen=True, slots=True)
class Binding:
    """The resource that holds a vehicle back, in words, and the minute it frees (None: never).

    `resource` is the id of a zone, unit or technician, or one of the words `opening hours`,
    `arrival`, `now`, `order`, `pin`, `skill`, `equipment`, `floor` when no single one binds.
    """

    resource: str
    says: str
    frees_at: int | None
    vehicle: str | None = None
    operation: str | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """Rows that were placed, their cost, and minutes late by vehicle (late ones only)."""

    rows: tuple[Row, ...]
    cost: int
    late: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Infeasible:
    """Proved: no plan holds this vehicle, even with nothing else in the shop."""

    vehicle: str
    binding: Binding


@dataclass(frozen=True, slots=True)
class NotProved:
    """No plan was found and none was ruled out."""

    vehicle: str
    binding: Binding
    says: str


@dataclass(frozen=True, slots=True)
class ModelError:
    """The question contradicts itself; `faults` lists every contradiction."""

    says: str
    faults: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Offer:
    """A complete set of rows for a new vehicle that leaves every other row untouched."""

    rows: tuple[Row, ...]
    start: int
    finish: int
    labels: tuple[str, ...]
    says: str
    late: int = 0


@dataclass(frozen=True, slots=True)
class Quote:
    """Offers, soonest finished first, and what keeps the first from being sooner."""

    offers: tuple[Offer, ...]
    binding: Binding | None


@dataclass(frozen=True, slots=True)
class TechnicianOut:
    technician: str
    window: Window


@dataclass(frozen=True, slots=True)
class UnitOut:
    unit: str
    window: Window


@dataclass(frozen=True, slots=True)
class RunsLong:
    vehicle: str
    operation: str
    new_end: int


@dataclass(frozen=True, slots=True)
class Urgent:
    vehicle: Vehicle


@dataclass(frozen=True, slots=True)
class ZoneClosed:
    zone: str
    window: Window


Disruption = TechnicianOut | UnitOut | RunsLong | Urgent | ZoneClosed


@dataclass(frozen=True, slots=True)
class Change:
    vehicle: str
    operation: str
    before: Row | None
    after: Row | None
    says: str


@dataclass(frozen=True, slots=True)
class PromiseMove:
    """A vehicle that will now be later than the plan in force had it, and past its promise."""

    vehicle: str
    promised: int
    finish: int
    minutes_late: int
    says: str


@dataclass(frozen=True, slots=True)
class Replan:
    """The repaired plan, what changed, whose promise moves, and the problem it answers."""

    plan: Plan
    changes: tuple[Change, ...]
    promise_moves: tuple[PromiseMove, ...]
    problem: Problem


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a chain of reasons: this operation starts then because of that resource."""

    vehicle: str
    operation: str
    start: int
    resource: str
    says: str


@dataclass(frozen=True, slots=True)
class Reasons:
    says: str
    chain: tuple[Link, ...]


class Rule(StrEnum):
    """Stable names of the rules a plan is verified against."""

    UNKNOWN = "unknown"
    TWICE = "twice"
    MISSING = "missing"
    DURATION = "duration"
    PLACEMENT = "placement"
    TECHNICIAN = "technician"
    SKILL = "skill"
    OFF_SHIFT = "off_shift"
    SECOND_PERSON = "second_person"
    UNITS = "units"
    UNAVAILABLE = "unavailable"
    BLOCKED = "blocked"
    CLOSED = "closed"
    HORIZON = "horizon"
    BEFORE_NOW = "before_now"
    ORDER = "order"
    DOUBLE_BOOKED = "double_booked"
    CROSSING = "crossing"
    PIN_MOVED = "pin_moved"
    WRONG_LATE = "wrong_late"
    WRONG_COST = "wrong_cost"


@dataclass(frozen=True, slots=True)
class Violation:
    rule: Rule
    says: str
    rows: tuple[Row, ...] = ()
