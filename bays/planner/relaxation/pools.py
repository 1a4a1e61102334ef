"""Groups of interchangeable resources, and how many of each are there in every cell.

A pool only ever says too much is there: people count in a cell if they are there for part of it,
and what is kept for one vehicle alone is left in for all. So no plan uses more of a pool than
its capacity, and bounds reckoned with pools hold.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import numpy.typing as npt

from bays.planner.problem import GRID_MINUTES, Operation, Placement, Problem, Window

Cells = npt.NDArray[np.int64]
Uses = tuple[tuple[int, int], ...]

# Pools of people are made for every set of up to this many skills.
MOST_SKILLS = 3


def cells_of(problem: Problem) -> int:
    return -(-problem.horizon // GRID_MINUTES)


def touched(cells: int, windows: Iterable[Window]) -> npt.NDArray[np.bool_]:
    """Cells of which some part lies in the windows."""
    mask = np.zeros(cells, np.bool_)
    for start, end in windows:
        mask[max(0, start // GRID_MINUTES) : max(0, -(-end // GRID_MINUTES))] = True
    return mask


def whole(cells: int, windows: Iterable[Window]) -> npt.NDArray[np.bool_]:
    """Cells that lie wholly in one of the windows."""
    mask = np.zeros(cells, np.bool_)
    for start, end in windows:
        mask[max(0, -(-start // GRID_MINUTES)) : max(0, end // GRID_MINUTES)] = True
    return mask


@dataclass(frozen=True, slots=True)
class Floor:
    """A pool of zones; placements take as many of it as they have zones in it."""

    pool: int
    zones: frozenset[str]


@dataclass(slots=True)
class Pools:
    """Every pool of a problem, and what operations and placements take of them."""

    names: list[str] = field(default_factory=list)
    capacity: list[Cells] = field(default_factory=list)
    by_skill: dict[str | None, tuple[int, ...]] = field(default_factory=dict)
    by_type: dict[str, int] = field(default_factory=dict)
    by_unit: dict[str, int] = field(default_factory=dict)
    floors: list[Floor] = field(default_factory=list)

    def add(self, name: str, capacity: Cells) -> int:
        self.names.append(name)
        self.capacity.append(capacity)
        return len(self.names) - 1

    def work(self, problem: Problem, operation: Operation) -> Uses:
        """(pool, how many) while the operation lasts, floor apart."""
        used = Counter(self.by_skill[operation.skill])
        used.update(self.by_type[kind] for kind in operation.equipment)
        for unit in operation.exact_units:
            used[self.by_unit[unit]] += 1
            used[self.by_type[problem.unit_by_id[unit].type]] += 1
        return tuple(sorted(used.items()))

    def standing(self, placement: Placement) -> Uses:
        """(pool, how many) for as long as a vehicle keeps the placement."""
        counts = ((floor.pool, len(placement.zones & floor.zones)) for floor in self.floors)
        return tuple((pool, count) for pool, count in counts if count)


def pools_of(problem: Problem) -> Pools:
    pools = Pools()
    there = _presence(problem)
    _people(problem, pools, there)
    for kind, units in problem.units_by_type.items():
        pools.by_type[kind] = pools.add(kind, _total(problem, units, there))
    for name in sorted({u for o in problem.operation_by_key.values() for u in o.exact_units}):
        pools.by_unit[name] = pools.add(name, there[name])
    _floors(problem, pools, there)
    return pools


def _total(problem: Problem, members: Iterable[str], there: Mapping[str, Cells]) -> Cells:
    return sum((there[name] for name in members), np.zeros(cells_of(problem), np.int64))


def _presence(problem: Problem) -> dict[str, Cells]:
    """1 in the cells in which each person, unit and zone may be used, pins apart, else 0."""
    cells = cells_of(problem)
    blocked: dict[str, list[Window]] = {}
    for block in problem.blocked:
        if block.vehicle is None:
            blocked.setdefault(block.resource_id, []).append(block.window)
    opened = touched(cells, problem.open)
    free = {t.id: touched(cells, t.shifts) & opened for t in problem.technicians}
    free |= {u.id: ~whole(cells, u.unavailable) for u in problem.units}
    free |= {zone: np.ones(cells, np.bool_) for zone in problem.every_zone}
    for name, windows in blocked.items():
        free[name] = free[name] & ~whole(cells, windows)
    for row in problem.pins:
        window = [Window(row.start, row.end)]
        for name in (row.technician, *row.units, *problem.placements[row.placement].zones):
            free[name] = free[name] & ~whole(cells, window)
    return {name: mask.astype(np.int64) for name, mask in free.items()}


def _people(problem: Problem, pools: Pools, there: Mapping[str, Cells]) -> None:
    """Pools of everybody with any of a set of skills: what Hall's theorem asks of a roster."""
    operations = problem.operation_by_key.values()
    skills = sorted({o.skill for o in operations if o.skill})
    able = {s: frozenset(t.id for t in problem.technicians if s in t.skills) for s in skills}
    names: dict[frozenset[str], str] = {
        frozenset(t.id for t in problem.technicians): "everybody",
    }
    for size in range(1, MOST_SKILLS + 1):
        for chosen in combinations(skills, size):
            union = frozenset[str]().union(*(able[s] for s in chosen))
            names.setdefault(union, "people for " + ", ".join(chosen))
    index = {m: pools.add(name, _total(problem, m, there)) for m, name in names.items()}
    pools.by_skill[None] = (next(iter(index.values())),)
    for skill in skills:
        pools.by_skill[skill] = tuple(i for members, i in index.items() if able[skill] <= members)


def _floors(problem: Problem, pools: Pools, there: Mapping[str, Cells]) -> None:
    """Zones any of which some operation may be done in, and all zones together."""
    places = problem.placements
    asked = {
        frozenset[str]().union(*(places[name].zones for name in operation.placements))
        for operation in problem.operation_by_key.values()
    }
    asked.add(frozenset[str]().union(*(place.zones for place in places.values())))
    for zones in sorted(asked - {frozenset()}, key=sorted):
        pool = pools.add("floor " + " ".join(sorted(zones)), _total(problem, zones, there))
        pools.floors.append(Floor(pool, zones))
