"""One operation in the model: when, by whom, with what and where."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ortools.sat.python import cp_model

from bays.planner.problem import Operation, Row, Vehicle

Expr = cp_model.LinearExpr | int
# A variable of 0 or 1, or its negation; ortools has no one type for both.
Bool = Any


@dataclass(frozen=True, slots=True)
class Alike:
    """Units, or people, that nothing tells apart; the model counts them."""

    members: tuple[str, ...]

    @property
    def one(self) -> str:
        return self.members[0]


@dataclass(slots=True, eq=False)
class Task:
    """Variables of one operation, in minutes; a pinned one has constants.

    `shared` is true where set-up is taken over from the operation before, `parked` where the
    vehicle waits in the lot afterwards, `same` where it goes on in the same placement. `leaves`
    is no earlier than the minute it lets go of its zones.
    """

    vehicle: Vehicle
    number: int
    operation: Operation
    pin: Row | None
    cell: cp_model.IntVar | None = None
    start: Expr = 0
    minutes: Expr = 0
    leaves: Expr = 0
    people: dict[str, Bool] = field(default_factory=dict)
    helpers: dict[str, Bool] = field(default_factory=dict)
    units: dict[Alike, list[Bool]] = field(default_factory=dict)
    places: dict[str, Bool] = field(default_factory=dict)
    shared: Bool | None = None
    parked: Bool | None = None
    same: Bool | None = None
    moves: Expr = 0
    drive: Expr = 0

    @property
    def name(self) -> str:
        return f"{self.vehicle.id}.{self.operation.id}"

    @property
    def key(self) -> tuple[str, str]:
        return (self.vehicle.id, self.operation.id)

    @property
    def end(self) -> Expr:
        return self.start + self.minutes

    @property
    def last(self) -> bool:
        return self.number == len(self.vehicle.operations) - 1
