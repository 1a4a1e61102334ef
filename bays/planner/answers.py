"""What the planner answers. A plan, a proof of none, no proof, and a broken question differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

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


ProofStatus = Literal["optimal", "bounded", "infeasible", "nothing"]


@dataclass(frozen=True, slots=True)
class Proof:
    """What is known about a problem's cheapest plan, and the best plan there is so far.

    `optimal`: no plan is cheaper than `plan`. `bounded`: no plan costs less than `bound`.
    `infeasible`: there is no plan at all. `nothing`: neither a plan nor more than a bound was
    found; `says` tells why. `bound` is in cost units and holds for every plan whose free
    operations start on the grid, as all plans made here do.
    """

    status: ProofStatus
    plan: Plan | None
    bound: float
    seconds: float
    says: str

    @property
    def gap(self) -> float:
        """How much of the plan's cost the bound leaves open, 0 where it is optimal."""
        if self.plan is None or self.status == "optimal":
            return 0.0
        return max(0.0, self.plan.cost - self.bound) / max(1, abs(self.plan.cost))


@dataclass(frozen=True, slots=True)
class Bound:
    """A cost that no plan whose free operations start on the grid goes below, and how found.

    `value` is infinite where some vehicle cannot be done before the horizon even alone.
    """

    value: float
    method: str
    alone: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Offer:
    """A complete set of rows for a new vehicle beside all others.

    `moved` are the rows of others that are not where they were; without any, every other row
    is untouched. `kind` is why it is offered: "soonest", "cheapest" (adds least to the cost
    of the whole plan), "wished" (begins nearest the minute wished for) or "another".
    """

    rows: tuple[Row, ...]
    start: int
    finish: int
    labels: tuple[str, ...]
    says: str
    late: int = 0
    kind: str = "another"
    moved: tuple[Row, ...] = ()
    added_cost: int = 0
    cost_to_others: str = "nobody else moves"


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
    SHARED_SET_UP = "shared_set_up"
    WAITING = "waiting"
    DRIVER = "driver"
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
