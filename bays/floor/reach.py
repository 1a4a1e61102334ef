"""Where a vehicle can get to from a door: one flood over places and headings, kept for queries.

A :class:`ReachMap` answers for one door (or one starting pose), one vehicle and one set of occupied
zones; :mod:`bays.floor.drive` asks it for paths.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass, field
from threading import Lock
from typing import Literal

import numpy as np

from bays.floor.flood import MOVES, STEERS, Lattice, Nodes, spread
from bays.floor.kept import Kept
from bays.floor.motion import SECONDS_PER_DIRECTION_CHANGE, WALKING_PACE_M_PER_S, Piece
from bays.floor.placement import Pose
from bays.floor.plan import Door, FloorPlan, ZoneId
from bays.floor.room import Room, make_room, standing_before
from bays.floor.shapes import VehicleShape

Entry = Literal["forward", "reverse"]
Directions = Literal["both", "forward only", "reverse only"]

CHANGE_MM = SECONDS_PER_DIRECTION_CHANGE * WALKING_PACE_M_PER_S * 1000
FARTHEST_MM = 400_000.0
# All reach maps together keep at most this in memory.
KEPT_BYTES = 192_000_000
_DIRECTIONS = {"both": 2, "forward only": 1, "reverse only": -1}


@dataclass(frozen=True)
class Fineness:
    """Size of a lattice cell, length of a move, and how many places are kept at most."""

    cell_mm: float
    move_mm: float
    most_nodes: int
    halvings: int = 0
    bins_per_move: int = 1


COARSE = Fineness(cell_mm=250.0, move_mm=500.0, most_nodes=1_500_000)
FINE = Fineness(cell_mm=120.0, move_mm=280.0, most_nodes=2_000_000, halvings=1)
FINER = Fineness(cell_mm=60.0, move_mm=400.0, most_nodes=2_000_000, halvings=4, bins_per_move=2)
FINEST = Fineness(cell_mm=40.0, move_mm=400.0, most_nodes=2_500_000, halvings=5, bins_per_move=4)
# While flooding a number is kept for every cell; on large floors cells are made larger.
MOST_CELLS = 60_000_000


@dataclass(frozen=True, eq=False)
class Flood:
    """What a wavefront reached. The first ``len(starts)`` nodes are the starts."""

    starts: tuple[Pose, ...]
    lattice: Lattice
    nodes: Nodes
    all_reached: bool

    @property
    def count(self) -> int:
        return len(self.nodes.x)

    @property
    def nbytes(self) -> int:
        return sum(array.nbytes for array in self.nodes)

    def way_to(self, node: int) -> tuple[int, tuple[Piece, ...]]:
        """The start it came from, and the moves from there."""
        pieces: list[Piece] = []
        radius = self.lattice.headings * self.lattice.move_mm / (2 * math.pi)
        while self.nodes.parent[node] >= 0:
            halved, move = divmod(int(self.nodes.move[node]), MOVES)
            back, steer = divmod(move, STEERS)
            length = self.lattice.move_mm / 2**halved * (-1 if back else 1)
            pieces.append(Piece((steer - 1) / radius, length))
            node = int(self.nodes.parent[node])
        return node, tuple(reversed(pieces))


@dataclass(eq=False)
class ReachMap:
    """Floods from one door or pose; finer ones, and one for each way in, are made when asked for.

    ``starts`` says for each way of entering where the vehicle starts; those blocked are left out.
    """

    plan: FloorPlan
    vehicle: VehicleShape
    min_radius_mm: float
    door: Door | Pose
    occupied: frozenset[ZoneId]
    room: Room
    starts: tuple[tuple[Entry, Pose], ...]
    _floods: dict[tuple[object, ...], Flood] = field(default_factory=dict, repr=False)
    _lock: Lock = field(default_factory=Lock, repr=False)

    def flood(
        self,
        fineness: Fineness = COARSE,
        entry: Entry | None = None,
        directions: Directions = "both",
    ) -> Flood:
        """The flood for one way of entering, or for all together."""
        key = (fineness, entry, directions)
        with self._lock:
            if key not in self._floods:
                starts = [pose for how, pose in self.starts if entry in (None, how)]
                self._floods[key] = flooded(
                    self.room, self.min_radius_mm, starts, fineness, directions
                )
            return self._floods[key]

    @property
    def nbytes(self) -> int:
        ground = self.room.ground
        floods = sum(flood.nbytes for flood in list(self._floods.values()))
        return floods + ground.clear_mm.nbytes + ground.items.nbytes + ground.edges.nbytes


def reach(
    plan: FloorPlan,
    vehicle: VehicleShape,
    min_radius_mm: float,
    door: Door | Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> ReachMap:
    """Flood the floor from a door, entered forward and in reverse, or from a pose.

    From a door the vehicle starts straight before it, wholly outside; the floor outside is taken
    to be as wide as the door. The door's clear height is not looked at. Cached by memory used,
    least recently used leaving first.
    """
    key = (plan, vehicle, float(min_radius_mm), door, frozenset(occupied))
    found = _KEPT.get(key)
    if found is None:
        found = fresh_map(plan, vehicle, min_radius_mm, door, occupied)
        found.flood()
        _KEPT.put(key, found)
    return found


def fresh_map(
    plan: FloorPlan,
    vehicle: VehicleShape,
    min_radius_mm: float,
    door: Door | Pose,
    occupied: Set[ZoneId] = frozenset(),
) -> ReachMap:
    """A reach map with nothing flooded yet, not kept."""
    from bays.floor.swept import stays_on

    room = make_room(plan, vehicle, occupied, door if isinstance(door, Door) else None)
    starts: list[tuple[Entry, Pose]] = []
    if isinstance(door, Door):
        for entry in ("forward", "reverse"):
            stands = standing_before(plan, vehicle, door, reverse=entry == "reverse")
            starts += [(entry, pose) for pose in stands]
    else:
        starts = [("forward", door)]
    clear = [(how, pose) for how, pose in starts if stays_on(room.free, vehicle, pose, ())]
    return ReachMap(
        plan, vehicle, float(min_radius_mm), door, frozenset(occupied), room, tuple(clear)
    )


def flooded(
    room: Room,
    min_radius_mm: float,
    starts: Sequence[Pose],
    fineness: Fineness,
    directions: Directions = "both",
) -> Flood:
    """Spread from the starts until everything is reached or the most places are kept."""
    lattice = lattice_for(min_radius_mm, fineness, directions)
    cells = room.free.area / lattice.cell_mm**2 * lattice.bins * 2
    if cells > MOST_CELLS:
        lattice = lattice._replace(cell_mm=lattice.cell_mm * math.sqrt(cells / MOST_CELLS))
    rows = np.array([(p.x_mm, p.y_mm, math.radians(p.heading_deg)) for p in starts], dtype=float)
    nodes, count = spread(room.ground, room.body, lattice, rows.reshape(-1, 3))
    kept = first_of(nodes, count)
    return Flood(tuple(starts), lattice, kept, count < lattice.most_nodes)


def first_of(nodes: Nodes, count: int) -> Nodes:
    """A copy of the first ``count``, so that the rest of the memory is given back."""
    return Nodes(
        nodes.x[:count].copy(),
        nodes.y[:count].copy(),
        nodes.heading[:count].copy(),
        nodes.cost[:count].copy(),
        nodes.parent[:count].copy(),
        nodes.move[:count].copy(),
    )


def lattice_for(min_radius_mm: float, fineness: Fineness, directions: Directions) -> Lattice:
    """Arcs are of the least radius exactly: the move is fitted to a whole number of headings."""
    around = 2 * math.pi * min_radius_mm
    headings = max(round(around / fineness.move_mm), 24)
    move_mm = around / headings
    return Lattice(
        cell_mm=fineness.cell_mm,
        headings=headings,
        bins=headings * fineness.bins_per_move,
        move_mm=move_mm,
        change_cost=round(10 * CHANGE_MM / move_mm),
        directions=_DIRECTIONS[directions],
        halvings=fineness.halvings,
        most_nodes=fineness.most_nodes,
        most_cost=round(10 * FARTHEST_MM / move_mm),
    )


_KEPT: Kept[tuple[object, ...], ReachMap] = Kept(KEPT_BYTES)
