"""The flood over places and headings, compiled.

A wavefront spreads from its starts by short lines and arcs of the least radius, forward and in
reverse, cheapest first (R. Dial's buckets, Communications of the ACM 12, 1969). Every place on
the way keeps its exact pose, so that a path read back from the flood is drivable as it stands (the
"hybrid" lattice of D. Dolgov et al., "Practical Search Techniques in Path Planning for Autonomous
Driving", AAAI 2008); the lattice only decides that one of many near poses is kept. The body is
checked against the edges of the free floor exactly, a distance field deciding the clear cases.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.floor.room import BUCKET_MM, FIELD_STEP_MM, Body, Ground

FIELD_OFF_MM = FIELD_STEP_MM * math.sqrt(0.5)
# Along a move the body is tried this often; on arcs it is grown by what lies between.
TRY_EVERY_MM = 130.0
STRAIGHT_COST = 10
CURVED_COST = 11
STEERS = 3
MOVES = 2 * STEERS


class Lattice(NamedTuple):
    """How fine the flood is and what it may do.

    Of near poses one is kept in each square of ``cell_mm`` and each of ``bins`` headings.
    ``move_mm`` turns an arc by 360 / ``headings`` degrees. A change of direction costs
    ``change_cost``, a straight move 10. ``directions`` is 2, or 1 for forward only, -1 for reverse
    only. A move that is blocked is halved up to ``halvings`` times.
    """

    cell_mm: float
    headings: int
    bins: int
    move_mm: float
    change_cost: int
    directions: int
    halvings: int
    most_nodes: int
    most_cost: int


class Nodes(NamedTuple):
    """What was reached: exact pose, cost, the node it was reached from, and by which move.

    ``move`` is steer + 1 (right, straight, left), plus 3 in reverse, plus 6 for each time it was
    halved; -1 at a start.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    heading: NDArray[np.float64]
    cost: NDArray[np.int32]
    parent: NDArray[np.int32]
    move: NDArray[np.int8]


@njit(cache=True, nogil=True)
def fits(
    ground: Ground,
    body: Body,
    x: float,
    y: float,
    c: float,
    s: float,
    before: tuple[float, float, float, float],
    pad: float,
    stride: float,
) -> bool:
    """Whether the body, grown by ``pad``, meets no edge of the free floor at this pose, nor any
    corner of it since the pose ``before`` (x, y, cosine, sine), no body point having moved farther
    than ``stride``. With a negative pad the body is drawn in; ``False`` is then certain."""
    clear = ground.clear_mm
    surely = True
    for k in range(len(body.cover_x)):
        i = int((x + body.cover_x[k] * c - ground.west) / FIELD_STEP_MM)
        j = int((y + body.cover_x[k] * s - ground.south) / FIELD_STEP_MM)
        if i < 0 or j < 0 or i >= clear.shape[0] or j >= clear.shape[1]:
            return False
        if clear[i, j] < body.cover_mm + pad + stride + FIELD_OFF_MM:
            surely = False
            break
    if surely:
        return True
    for k in range(len(body.core_x)):
        i = int((x + body.core_x[k] * c - ground.west) / FIELD_STEP_MM)
        j = int((y + body.core_x[k] * s - ground.south) / FIELD_STEP_MM)
        if i < 0 or j < 0 or i >= clear.shape[0] or j >= clear.shape[1]:
            return False
        if clear[i, j] + FIELD_OFF_MM + 0.01 < body.core_mm + min(pad, 0.0):
            return False
    return not _meets_edge(ground, body, x, y, c, s, before, pad, stride > 0.0)


@njit(cache=True, nogil=True)
def _meets_edge(
    ground: Ground,
    body: Body,
    x: float,
    y: float,
    c: float,
    s: float,
    before: tuple[float, float, float, float],
    pad: float,
    turning: bool,
) -> bool:
    """Clip every near edge, seen from the vehicle, to the body.

    While the vehicle turns, a corner of a wall could slip in and out again between two tries, so
    the way that each corner took past the vehicle is clipped as well.
    """
    rear, front, half = body.rear - pad, body.front + pad, body.half_width + pad
    middle = (body.rear + body.front) / 2
    bx = int((x + middle * c - ground.west) / BUCKET_MM)
    by = int((y + middle * s - ground.south) / BUCKET_MM)
    bucket = bx * ground.buckets_across + by
    for n in range(ground.starts[bucket], ground.starts[bucket + 1]):
        e = ground.items[n]
        ax, ay = ground.edges[e, 0] - x, ground.edges[e, 1] - y
        u0, v0 = ax * c + ay * s, ay * c - ax * s
        ax, ay = ground.edges[e, 2] - x, ground.edges[e, 3] - y
        u1, v1 = ax * c + ay * s, ay * c - ax * s
        if _crosses(u0, v0, u1, v1, rear, front, half):
            return True
        if turning:
            ax, ay = ground.edges[e, 0] - before[0], ground.edges[e, 1] - before[1]
            u1, v1 = ax * before[2] + ay * before[3], ay * before[2] - ax * before[3]
            if _crosses(u0, v0, u1, v1, rear, front, half):
                return True
    return False


@njit(cache=True, nogil=True)
def _crosses(
    u0: float, v0: float, u1: float, v1: float, rear: float, front: float, half: float
) -> bool:
    """Whether a segment enters the inside of a rectangle (Liang and Barsky)."""
    if max(u0, u1) <= rear or min(u0, u1) >= front or max(v0, v1) <= -half or min(v0, v1) >= half:
        return False
    low, high = 0.0, 1.0
    du, dv = u1 - u0, v1 - v0
    if du != 0.0:
        t0, t1 = (rear - u0) / du, (front - u0) / du
        low, high = max(low, min(t0, t1)), min(high, max(t0, t1))
    if dv != 0.0:
        t0, t1 = (-half - v0) / dv, (half - v0) / dv
        low, high = max(low, min(t0, t1)), min(high, max(t0, t1))
    return low < high


@njit(cache=True, nogil=True)
def after(
    x: float, y: float, heading: float, per_mm: float, length: float
) -> tuple[float, float, float]:
    """The pose after a line or arc; ``heading`` in radians."""
    turned = per_mm * length
    if abs(turned) < 1e-9:
        return x + length * math.cos(heading), y + length * math.sin(heading), heading + turned
    return (
        x + (math.sin(heading + turned) - math.sin(heading)) / per_mm,
        y - (math.cos(heading + turned) - math.cos(heading)) / per_mm,
        heading + turned,
    )


@njit(cache=True, nogil=True)
def way_clear(
    ground: Ground, body: Body, x: float, y: float, heading: float, per_mm: float, length: float
) -> bool:
    """Whether the body stays on free floor along a line or arc, its first pose left out.

    Between two tries on an arc every point of the body stays this near the chord it would take:
    farthest radius x (1 - cos(half the angle between)), by which the body is grown. What the body
    can meet on the way is then a corner of a wall, or else an edge at one of the tries.
    """
    count = max(math.ceil(abs(length) / TRY_EVERY_MM), 1)
    pad, stride = 0.0, 0.0
    if per_mm != 0.0:
        far = math.hypot(1 / abs(per_mm) + body.half_width, max(body.front, -body.rear))
        pad = far * (1 - math.cos(per_mm * length / count / 2))
        stride = far * abs(per_mm * length / count)
    # the end first: it is blocked most often
    ex, ey, eh = after(x, y, heading, per_mm, length)
    end = (ex, ey, math.cos(eh), math.sin(eh))
    if count > 1 and not fits(ground, body, ex, ey, end[2], end[3], end, pad, 0.0):
        return False
    before = (x, y, math.cos(heading), math.sin(heading))
    for k in range(1, count + 1):
        ex, ey, eh = after(x, y, heading, per_mm, length * k / count)
        c, s = math.cos(eh), math.sin(eh)
        if not fits(ground, body, ex, ey, c, s, before, pad, stride):
            return False
        before = (ex, ey, c, s)
    return True


@njit(cache=True, nogil=True)
def _on_field(ground: Ground, x: float, y: float) -> bool:
    i = (x - ground.west) / FIELD_STEP_MM
    j = (y - ground.south) / FIELD_STEP_MM
    return i >= 0 and j >= 0 and i < ground.clear_mm.shape[0] and j < ground.clear_mm.shape[1]


@njit(cache=True, nogil=True)
def squares_of(ground: Ground, cell_mm: float) -> tuple[NDArray[np.int32], int]:
    """Numbers for the squares that may hold some floor, -1 for the others; how many there are."""
    across = int(ground.clear_mm.shape[0] * FIELD_STEP_MM / cell_mm) + 1
    up = int(ground.clear_mm.shape[1] * FIELD_STEP_MM / cell_mm) + 1
    number = np.full((across, up), -1, dtype=np.int32)
    count = 0
    for i in range(across):
        for j in range(up):
            k = min(int((i + 0.5) * cell_mm / FIELD_STEP_MM), ground.clear_mm.shape[0] - 1)
            m = min(int((j + 0.5) * cell_mm / FIELD_STEP_MM), ground.clear_mm.shape[1] - 1)
            if ground.clear_mm[k, m] > -(cell_mm + 2 * FIELD_STEP_MM):
                number[i, j] = count
                count += 1
    return number, count


@njit(cache=True, nogil=True)
def _cell(
    ground: Ground,
    lattice: Lattice,
    number: NDArray[np.int32],
    x: float,
    y: float,
    heading: float,
    back: int,
) -> int:
    """The lattice cell of a pose and direction; -1 off the floor."""
    i = int((x - ground.west) / lattice.cell_mm)
    j = int((y - ground.south) / lattice.cell_mm)
    if number[i, j] < 0:
        return -1
    k = round(heading / (2 * math.pi) * lattice.bins) % lattice.bins
    return (number[i, j] * lattice.bins + k) * 2 + back


class _Front(NamedTuple):
    """The wavefront: squares numbered, the node of every cell or -1, and buckets of nodes by cost,
    each a chain from ``bucket`` through ``chain``."""

    number: NDArray[np.int32]
    at: NDArray[np.int32]
    bucket: NDArray[np.int32]
    chain: NDArray[np.int32]


@njit(cache=True, nogil=True)
def spread(
    ground: Ground, body: Body, lattice: Lattice, starts: NDArray[np.float64]
) -> tuple[Nodes, int]:
    """Flood from ``starts`` (x, y, heading in radians). The nodes and their number."""
    most = lattice.most_nodes
    number, squares = squares_of(ground, lattice.cell_mm)
    front = _Front(
        number,
        np.full(squares * lattice.bins * 2, -1, dtype=np.int32),
        np.full(lattice.most_cost + 1, -1, dtype=np.int32),
        np.empty(most, dtype=np.int32),
    )
    nodes = Nodes(
        np.empty(most, dtype=np.float64),
        np.empty(most, dtype=np.float64),
        np.empty(most, dtype=np.float64),
        np.empty(most, dtype=np.int32),
        np.empty(most, dtype=np.int32),
        np.empty(most, dtype=np.int8),
    )
    count = 0
    for n in range(len(starts)):
        pose = (starts[n, 0], starts[n, 1], starts[n, 2])
        cell = _cell(ground, lattice, number, pose[0], pose[1], pose[2], 0)
        _put(nodes, front, count, pose, 0, -1, -1, cell)
        count += 1
    for cost in range(lattice.most_cost):
        while front.bucket[cost] >= 0 and count <= most - MOVES:
            here = front.bucket[cost]
            front.bucket[cost] = front.chain[here]
            count = _go_on(ground, body, lattice, nodes, front, here, count)
    return nodes, count


@njit(cache=True, nogil=True)
def _put(
    nodes: Nodes,
    front: _Front,
    n: int,
    pose: tuple[float, float, float],
    cost: int,
    parent: int,
    move: int,
    cell: int,
) -> None:
    nodes.x[n], nodes.y[n], nodes.heading[n] = pose
    nodes.cost[n], nodes.parent[n], nodes.move[n] = cost, parent, move
    front.chain[n] = front.bucket[cost]
    front.bucket[cost] = n
    front.at[cell] = n


@njit(cache=True, nogil=True)
def _go_on(
    ground: Ground,
    body: Body,
    lattice: Lattice,
    nodes: Nodes,
    front: _Front,
    here: int,
    count: int,
) -> int:
    """Every move from one node. The number of nodes then."""
    came = -1 if nodes.move[here] < 0 else nodes.move[here] % MOVES // STEERS
    if came >= 0:
        x, y, h = nodes.x[here], nodes.y[here], nodes.heading[here]
        if front.at[_cell(ground, lattice, front.number, x, y, h, came)] != here:
            return count  # a cheaper way to this cell was found meanwhile
    for back in range(2):
        if lattice.directions == (-1 if back == 0 else 1):
            continue
        change = lattice.change_cost if came >= 0 and came != back else 0
        for steer in range(STEERS):
            pose, price, halved, cell = _move(
                ground, body, lattice, nodes, front, here, steer - 1, back, change
            )
            if cell >= 0:
                move = steer + STEERS * back + MOVES * halved
                _put(nodes, front, count, pose, price, here, move, cell)
                count += 1
    return count


@njit(cache=True, nogil=True)
def _move(
    ground: Ground,
    body: Body,
    lattice: Lattice,
    nodes: Nodes,
    front: _Front,
    here: int,
    steer: int,
    back: int,
    change: int,
) -> tuple[tuple[float, float, float], int, int, int]:
    """The longest of the halved moves that is clear: pose, cost, halvings, cell. The cell is -1 if
    none is, or if the pose's cell has been reached as cheaply."""
    x, y, h = nodes.x[here], nodes.y[here], nodes.heading[here]
    per_mm = steer * 2 * math.pi / lattice.headings / lattice.move_mm
    length = -lattice.move_mm if back else lattice.move_mm
    cost = CURVED_COST if steer else STRAIGHT_COST
    for halved in range(lattice.halvings + 1):
        pose = after(x, y, h, per_mm, length)
        price = nodes.cost[here] + max(cost, 1) + change
        if price < lattice.most_cost and _on_field(ground, pose[0], pose[1]):
            cell = _cell(ground, lattice, front.number, pose[0], pose[1], pose[2], back)
            if cell < 0 or (front.at[cell] >= 0 and nodes.cost[front.at[cell]] <= price):
                break
            if way_clear(ground, body, x, y, h, per_mm, length):
                return pose, price, halved, cell
        length, cost = length / 2, cost // 2
    return (x, y, h), 0, 0, -1
