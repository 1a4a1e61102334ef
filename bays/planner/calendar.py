"""Free time as bit masks: bit t is the five minutes from t x 5 minutes after the origin.

An operation of d cells can start at t when bits t .. t+d-1 are set; doubling shifts find all
such starts in log2(d) steps. Free windows are rounded inwards and taken ones outwards, so a
time off the grid can cost up to a cell but never overlaps.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from copy import copy

from bays.planner.holding import STANDS, holds
from bays.planner.problem import GRID_MINUTES, Problem, Row, Window


def cell_at_or_after(minute: int) -> int:
    return -(-minute // GRID_MINUTES)


def cell_span(first: int, stop: int) -> int:
    """Bits first .. stop-1."""
    first = max(0, first)
    return ((1 << (stop - first)) - 1) << first if stop > first else 0


def cells_touched(start: int, end: int) -> int:
    return cell_span(start // GRID_MINUTES, cell_at_or_after(end))


def cells_inside(windows: Iterable[Window]) -> int:
    """Cells wholly inside the windows; windows that touch count as one."""
    mask = 0
    stretch: Window | None = None
    for window in sorted(windows):
        if stretch is not None and window.start <= stretch.end:
            stretch = Window(stretch.start, max(stretch.end, window.end))
        else:
            mask |= _cells_of(stretch)
            stretch = window
    return mask | _cells_of(stretch)


def _cells_of(window: Window | None) -> int:
    if window is None:
        return 0
    return cell_span(cell_at_or_after(window.start), window.end // GRID_MINUTES)


def starts_of(mask: int, cells: int) -> int:
    """Bit t is set where bits t .. t+cells-1 of the mask all are."""
    width = 1
    while width * 2 <= cells:
        mask &= mask >> width
        width *= 2
    return mask & (mask >> (cells - width)) if cells > width else mask


def at_least(count: int, masks: Iterable[int]) -> int:
    """Bit t is set where at least `count` of the masks have it."""
    reached = [0] * count
    for mask in masks:
        for level in range(count - 1, 0, -1):
            reached[level] |= reached[level - 1] & mask
        reached[0] |= mask
    return reached[-1]


def first_cell(mask: int) -> int | None:
    return (mask & -mask).bit_length() - 1 if mask else None


def from_cell(mask: int, cell: int) -> int:
    """The mask without the bits before `cell`."""
    return mask >> cell << cell


class Calendar:
    """Free cells of every technician, unit and zone of one problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cells = problem.horizon // GRID_MINUTES
        whole = cell_span(0, self.cells)
        self.open = cells_inside(problem.open) & whole
        self.free: dict[str, int] = {}
        self._skill: dict[tuple[str, str], int] = {}
        self._starts: dict[str, dict[tuple[int, str | None], int]] = {}
        for technician in problem.technicians:
            self.free[technician.id] = cells_inside(technician.shifts) & self.open
            for skill, windows in technician.skills.items():
                self._skill[technician.id, skill] = cells_inside(windows)
        for unit in problem.units:
            self.free[unit.id] = whole
            for window in unit.unavailable:
                self.free[unit.id] &= ~cells_touched(*window)
        self.free.update(dict.fromkeys(problem.every_zone, whole))
        # What one vehicle alone may use: it is taken from `free`, but not from `_solid`.
        self._own: dict[str, dict[str, int]] = defaultdict(dict)
        self._solid = dict(self.free)
        for block in problem.blocked:
            self._take(block.resource_id, cells_touched(*block.window), block.vehicle)

    def occupy(self, rows: Iterable[Row]) -> None:
        """Take what the rows of ONE vehicle hold; rows are put in the vehicle's order first."""
        for hold in holds(self.problem, rows):
            mover = None if hold.why == STANDS else hold.row.vehicle
            self._take(hold.resource, cells_touched(hold.start, hold.end), mover)
            self._starts.pop(hold.resource, None)

    def _take(self, resource: str, cells: int, mover: str | None) -> None:
        self.free[resource] &= ~cells
        if mover is None:
            self._solid[resource] &= ~cells
        else:
            self._own[mover][resource] = self._own[mover].get(resource, 0) | cells

    def seen_by(self, vehicle: str) -> Calendar:
        """The calendar in which the vehicle is not in its own way.

        What it holds for moves to rows that are fixed already, or where it stands, is no
        hindrance to its other rows; it is to everybody else's.
        """
        own = self._own.get(vehicle)
        if not own:
            return self
        lent = copy(self)
        lent.free, lent._starts = dict(self.free), dict(self._starts)
        for resource in own:
            lent._starts.pop(resource, None)
            lent.free[resource] = self._solid[resource]
            for other, taken in self._own.items():
                if other != vehicle:
                    lent.free[resource] &= ~taken.get(resource, 0)
        return lent

    def clear_at(self, resource: str, start: int, end: int) -> int:
        """Cells t for which the resource is free from minute `start` to `end` counted from t."""
        first, stop = start // GRID_MINUTES, cell_at_or_after(end)
        if stop <= first:
            return -1
        mask = self.starts(resource, stop - first)
        return mask >> first if first >= 0 else mask << -first

    def starts(self, resource: str, cells: int, skill: str | None = None) -> int:
        """Where the resource is free for `cells` on end, with the skill valid throughout."""
        known = self._starts.setdefault(resource, {})
        mask = known.get((cells, skill))
        if mask is None:
            free = self.free[resource]
            if skill is not None:
                free &= self._skill.get((resource, skill), 0)
            mask = known[cells, skill] = starts_of(free, cells)
        return mask
