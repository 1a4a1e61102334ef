"""What last kept one resource from being used, and until when."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bays.planner.holding import Hold, holds, rows_by_vehicle
from bays.planner.problem import Problem, Row, Window


@dataclass(frozen=True, slots=True)
class Cause:
    """`resource` could not be used up to minute `until`; `says` continues its name."""

    resource: str
    until: int
    says: str
    row: Row | None = None


class Ledger:
    """Everything a set of rows holds, by resource."""

    def __init__(self, problem: Problem, rows: Iterable[Row]) -> None:
        self.problem = problem
        self._holds: dict[str, list[Hold]] = {}
        for own in rows_by_vehicle(rows).values():
            for hold in holds(problem, own):
                self._holds.setdefault(hold.resource, []).append(hold)

    def last_cause(self, resource: str, after: int, start: int, skill: str | None) -> Cause | None:
        """The cause that ended last in `after < end <= start`, if any."""
        causes = [c for c in self._causes(resource, skill) if after < c.until <= start]
        return max(causes, key=lambda cause: (cause.until, cause.row is not None), default=None)

    def _causes(self, resource: str, skill: str | None) -> Iterator[Cause]:
        problem = self.problem
        for hold in self._holds.get(resource, ()):
            label = problem.vehicle_by_id[hold.row.vehicle].label
            verb = "is taken by" if self._is_zone(resource) else "is on"
            says = f"{verb} {label} until {problem.clock(hold.end)}"
            yield Cause(resource, hold.end, says, hold.row)
        for block in problem.blocked:
            if block.resource_id == resource:
                says = f"is not available until {problem.clock(block.window.end)} ({block.reason})"
                yield Cause(resource, block.window.end, says)
        unit = problem.unit_by_id.get(resource)
        for window in unit.unavailable if unit else ():
            says = f"is out of service until {problem.clock(window.end)}"
            yield Cause(resource, window.end, says)
        yield from self._absences(resource, skill)

    def _absences(self, resource: str, skill: str | None) -> Iterator[Cause]:
        technician = self.problem.technician_by_id.get(resource)
        if technician is None:
            return
        for shift in _stretches(technician.shifts):
            says = f"is off until {self.problem.clock(shift.start)}"
            yield Cause(resource, shift.start, says)
        for window in technician.skills.get(skill, ()) if skill else ():
            says = f"may not do {words(skill or '')} until {self.problem.clock(window.start)}"
            yield Cause(resource, window.start, says)

    def _is_zone(self, resource: str) -> bool:
        problem = self.problem
        return resource not in problem.technician_by_id and resource not in problem.unit_by_id


def words(code: str) -> str:
    return code.replace("_", " ")


def _stretches(windows: Iterable[Window]) -> Iterator[Window]:
    """Windows joined where they touch, so that no one seems to come back from no break."""
    start = end = None
    for window in sorted(windows):
        if start is None or end is None:
            start, end = window
        elif window.start <= end:
            end = max(end, window.end)
        else:
            yield Window(start, end)
            start, end = window
    if start is not None and end is not None:
        yield Window(start, end)
