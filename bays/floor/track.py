"""From a flood to an exact pose: join, shorten, and check as polygons."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from bays.floor.flood import spread
from bays.floor.joins import best_join, near_nodes, shortened
from bays.floor.motion import Piece, end_of, merged, moved, reversed_pieces
from bays.floor.placement import Pose
from bays.floor.reach import CHANGE_MM, Directions, Fineness, Flood, first_of, lattice_for
from bays.floor.room import Room
from bays.floor.swept import stays_on

Floats = NDArray[np.float64]

# Around the goal the flood goes on backwards, so that tight last moves are found as well.
BACKWARDS = Fineness(cell_mm=120.0, move_mm=250.0, most_nodes=12_000)
JOIN_REACH_MM = 12_000.0
DIRECT_NODES = 30_000
DIRECT_TRIES = 6_000
MOST_GOALS = 160
NODES_PER_GOAL = 500
TRIES_PER_GOAL = 500
SHORTEN_ROUNDS = 12
SHORTEN_TRIES = 4_000
# Joined ends agree far closer than this; more would be an error in the arithmetic.
SAME_PLACE_MM = 0.005


class Track(NamedTuple):
    """A checked way: the pose it starts from and its lines and arcs."""

    start: Pose
    pieces: tuple[Piece, ...]


_BACK: dict[Directions, Directions] = {
    "both": "both",
    "forward only": "reverse only",
    "reverse only": "forward only",
}


def find_track(
    room: Room, flood: Flood, goal: Pose, directions: Directions = "both"
) -> Track | None:
    """A way from one of the flood's starts to the goal, the whole body on free floor."""
    if flood.count == 0 or not stays_on(room.free, room.vehicle, goal, ()):
        return None
    track = _checked(room, flood, goal, _direct(room, flood, goal), directions)
    if track is None:
        found = _by_way_of(room, flood, goal, directions)
        track = _checked(room, flood, goal, found, directions)
    return track


class _Found(NamedTuple):
    node: int
    word: tuple[Piece, ...]
    last: tuple[Piece, ...]


def _row(pose: Pose) -> tuple[float, float, float]:
    return pose.x_mm, pose.y_mm, math.radians(pose.heading_deg)


def _direct(room: Room, flood: Flood, goal: Pose) -> _Found | None:
    """Join a place to the goal at once: the cheapest places first, then those nearest to it."""
    row = _row(goal)
    near, bound = near_nodes(flood.nodes, flood.count, flood.lattice, *row, JOIN_REACH_MM)
    for worth in (bound, bound - _price(flood)[near]):
        order = _cheapest(worth, DIRECT_NODES)
        node, word, _, _ = best_join(
            room.ground, room.body, flood.lattice, flood.nodes,
            near[order], bound[order], np.array([*row, 0.0, 0.0]), math.inf, DIRECT_TRIES,
        )  # fmt: skip
        if node >= 0:
            return _Found(int(node), _word(word), ())
    return None


def _by_way_of(room: Room, flood: Flood, goal: Pose, directions: Directions) -> _Found | None:
    """Join to a place from which the goal is reached by a few known moves."""
    tree = _tree(room, _radius(flood), goal, directions)
    near, _ = near_nodes(flood.nodes, flood.count, flood.lattice, *_row(goal), JOIN_REACH_MM)
    for nearest in (False, True):
        found = _through_tree(room, flood, tree, near, nearest)
        if found is not None:
            return found
    return None


def _through_tree(
    room: Room, flood: Flood, tree: Flood, near: NDArray[np.int64], nearest: bool
) -> _Found | None:
    """The cheapest way through one of the tree's places, the nearest or the cheapest tried."""
    best, found = math.inf, None
    nodes, base = tree.nodes, _price(flood)[near]
    for g in _spread_out(tree):
        later = float(nodes.cost[g]) * tree.lattice.move_mm / 10
        rest = _least_rest(flood, near, nodes.x[g], nodes.y[g], nodes.heading[g])
        some = _cheapest(rest if nearest else base + rest, NODES_PER_GOAL)
        goes = 0 if nodes.move[g] < 0 else (1 if nodes.move[g] % 6 >= 3 else -1)
        row = np.array([nodes.x[g], nodes.y[g], nodes.heading[g], later, goes])
        node, word, best, _ = best_join(
            room.ground, room.body, flood.lattice, flood.nodes,
            near[some], (base + rest)[some] + later, row, best, TRIES_PER_GOAL,
        )  # fmt: skip
        if node >= 0:
            found = _Found(int(node), _word(word), reversed_pieces(tree.way_to(int(g))[1]))
    return found


def _price(flood: Flood) -> Floats:
    return flood.nodes.cost.astype(np.float64) * (flood.lattice.move_mm / 10)


def _radius(flood: Flood) -> float:
    return flood.lattice.headings * flood.lattice.move_mm / (2 * math.pi)


def _least_rest(
    flood: Flood, near: NDArray[np.int64], x: float, y: float, heading: float
) -> Floats:
    """No way to a pose is shorter than the distance, nor than the arc that turns as far."""
    away = np.hypot(flood.nodes.x[near] - x, flood.nodes.y[near] - y)
    turn = np.abs((flood.nodes.heading[near] - heading + np.pi) % (2 * np.pi) - np.pi)
    return np.maximum(away, _radius(flood) * turn)


def _tree(room: Room, radius: float, goal: Pose, directions: Directions) -> Flood:
    lattice = lattice_for(radius, BACKWARDS, _BACK[directions])
    lattice = lattice._replace(change_cost=lattice.change_cost // 4)
    nodes, count = spread(room.ground, room.body, lattice, np.array([_row(goal)]))
    return Flood((goal,), lattice, first_of(nodes, count), count < lattice.most_nodes)


def _spread_out(tree: Flood) -> list[int]:
    """Some of the places, cheapest first, apart from each other by half a metre or 15 degrees."""
    nodes = tree.nodes
    keys = np.stack(
        [
            np.floor(nodes.x / 500),
            np.floor(nodes.y / 500),
            np.floor(nodes.heading / math.radians(15)),
        ],
        axis=1,
    )
    _, first = np.unique(keys, axis=0, return_index=True)
    chosen = sorted((int(i) for i in first), key=lambda i: (int(nodes.cost[i]), i))
    return chosen[:: max(len(chosen) // MOST_GOALS, 1)]


def _word(row: Floats) -> tuple[Piece, ...]:
    return tuple(
        Piece(float(row[2 * k]), float(row[2 * k + 1]))
        for k in range(3)
        if abs(row[2 * k + 1]) > 1e-9
    )


def _checked(
    room: Room, flood: Flood, goal: Pose, found: _Found | None, directions: Directions
) -> Track | None:
    if found is None:
        return None
    root, moves = flood.way_to(found.node)
    start = flood.starts[root]
    whole = merged((*moves, *found.word, *found.last))
    for pieces in (shorter(room, _radius(flood), start, whole, directions), whole):
        if _arrives(start, pieces, goal) and stays_on(room.free, room.vehicle, start, pieces):
            return Track(start, pieces)
    return None


def _arrives(start: Pose, pieces: Sequence[Piece], goal: Pose) -> bool:
    end = end_of(start, pieces)
    turned = math.radians((end.heading_deg - goal.heading_deg + 180) % 360 - 180)
    off = math.hypot(end.x_mm - goal.x_mm, end.y_mm - goal.y_mm)
    return off + abs(turned) * 10_000 < SAME_PLACE_MM


def shorter(
    room: Room, radius: float, start: Pose, pieces: Sequence[Piece], directions: Directions
) -> tuple[Piece, ...]:
    """Replace stretches by joins that are shorter or save a change of direction."""
    pieces = merged(pieces)
    for _ in range(SHORTEN_ROUNDS):
        if len(pieces) < 2:
            break
        poses = [start]
        for piece in pieces:
            poses.append(moved(poses[-1], piece))
        first, last, word = shortened(
            room.ground, room.body, radius, CHANGE_MM, directions == "both",
            np.array([_row(pose) for pose in poses]), np.array(pieces), SHORTEN_TRIES,
        )  # fmt: skip
        if first < 0:
            break
        pieces = merged((*pieces[:first], *_word(word), *pieces[last:]))
    return pieces


def _cheapest(bound: Floats, count: int) -> NDArray[np.int64]:
    """Indices of the least, sorted."""
    few = np.argpartition(bound, count)[:count] if len(bound) > count else np.arange(len(bound))
    return few[np.argsort(bound[few])]
