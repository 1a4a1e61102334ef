"""Joining two poses exactly by at most three lines and arcs of the least radius, compiled.

Line-arc-line and arc-line-arc, each piece forward or in reverse (arc-line-arc without reverse is
the main case of L. Dubins, "On Curves of Minimal Length...", American Journal of Mathematics 79,
1957; with reverse, J. Reeds and L. Shepp, Pacific Journal of Mathematics 145, 1990).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from bays.floor.flood import Lattice, Nodes, after, way_clear
from bays.floor.room import Body, Ground

Floats = NDArray[np.float64]
MOST_WORDS = 20
# Along joins the vehicle is checked in runs of this length, so that a blocked one fails early.
RUN_MM = 600.0


@njit(cache=True, nogil=True)
def _small_turn(angle: float) -> float:
    """The same angle from -pi to pi."""
    return angle - 2 * math.pi * math.floor((angle + math.pi) / (2 * math.pi))


@njit(cache=True, nogil=True)
def words(
    ax: float, ay: float, ah: float, bx: float, by: float, bh: float, radius: float, out: Floats
) -> int:
    """Rows of ``out``: three pairs of (1/radius, length). Their number."""
    count = _line_arc_line(ax, ay, ah, bx, by, bh, radius, out)
    return _arc_line_arc(ax, ay, ah, bx, by, bh, radius, out, count)


@njit(cache=True, nogil=True)
def _line_arc_line(
    ax: float, ay: float, ah: float, bx: float, by: float, bh: float, radius: float, out: Floats
) -> int:
    """The arc is known from the headings, the lines from where it must lie."""
    count = 0
    turn = _small_turn(bh - ah)
    cross = math.sin(turn)
    if abs(cross) > 1e-6:
        for side in (1.0, -1.0):
            for whole in (0.0, -2 * math.pi if turn > 0 else 2 * math.pi):
                arc = turn + whole
                length = arc * radius * side
                px, py, _ = after(0.0, 0.0, ah, side / radius, length)
                dx, dy = bx - ax - px, by - ay - py
                first = (dx * math.sin(bh) - dy * math.cos(bh)) / cross
                last = (dy * math.cos(ah) - dx * math.sin(ah)) / cross
                out[count] = (0.0, first, side / radius, length, 0.0, last)
                count += 1
    return count


@njit(cache=True, nogil=True)
def _arc_line_arc(
    ax: float,
    ay: float,
    ah: float,
    bx: float,
    by: float,
    bh: float,
    radius: float,
    out: Floats,
    count: int,
) -> int:
    """A common tangent of a circle at either end."""
    for first_side in (1.0, -1.0):
        for last_side in (1.0, -1.0):
            cx = ax - first_side * radius * math.sin(ah)
            cy = ay + first_side * radius * math.cos(ah)
            ex = bx - last_side * radius * math.sin(bh)
            ey = by + last_side * radius * math.cos(bh)
            gap, along = math.hypot(ex - cx, ey - cy), math.atan2(ey - cy, ex - cx)
            if first_side == last_side:
                line, lean = gap, 0.0
            elif gap >= 2 * radius:
                line = math.sqrt(gap * gap - 4 * radius * radius)
                lean = first_side * math.atan2(2 * radius, line)
            else:
                continue
            for direction in (1.0, -1.0):
                # reversing along the tangent, the vehicle points the other way
                heading = along + lean if direction > 0 else along - lean + math.pi
                t = _small_turn(heading - ah)
                v = _small_turn(bh - heading)
                out[count] = (
                    first_side / radius, t * radius * first_side,
                    0.0, line * direction,
                    last_side / radius, v * radius * last_side,
                )  # fmt: skip
                count += 1
                if first_side * t < 0 or last_side * v < 0:
                    # the long way round, all forward or all in reverse
                    if first_side * t * direction < 0:
                        t += 2 * math.pi * first_side * direction
                    if last_side * v * direction < 0:
                        v += 2 * math.pi * last_side * direction
                    if abs(t) + abs(v) < 1.6 * math.pi:
                        out[count] = (
                            first_side / radius, t * radius * first_side,
                            0.0, line * direction,
                            last_side / radius, v * radius * last_side,
                        )  # fmt: skip
                        count += 1
    return count


@njit(cache=True, nogil=True)
def price_of(
    word: Floats, came: int, goes: int, change_mm: float, may_reverse: bool
) -> tuple[float, bool]:
    """Length and changes of direction as a length; ``came`` and ``goes`` are 1, -1 or 0."""
    total, last = 0.0, came
    for k in range(3):
        length = word[2 * k + 1]
        if abs(length) < 1e-3:
            continue
        direction = 1 if length > 0 else -1
        if direction < 0 and not may_reverse:
            return 0.0, False
        total += abs(length)
        if last * direction < 0:
            total += change_mm
        last = direction
    if last * goes < 0:
        total += change_mm
    return total, True


@njit(cache=True, nogil=True)
def word_clear(ground: Ground, body: Body, x: float, y: float, h: float, word: Floats) -> bool:
    for k in range(3):
        per_mm, left = word[2 * k], word[2 * k + 1]
        if abs(left) < 1e-3:
            left = 0.0 if abs(left) < 1e-9 else left
        runs = math.ceil(abs(left) / RUN_MM)
        for _ in range(runs):
            if not way_clear(ground, body, x, y, h, per_mm, left / runs):
                return False
            x, y, h = after(x, y, h, per_mm, left / runs)
    return True


@njit(cache=True, nogil=True)
def best_join(
    ground: Ground,
    body: Body,
    lattice: Lattice,
    nodes: Nodes,
    near: NDArray[np.int64],
    bound: Floats,
    goal: Floats,
    best: float,
    most_tries: int,
) -> tuple[int, Floats, float, int]:
    """The cheapest clear way from one of the nodes ``near`` to ``goal`` (x, y, heading, price from
    there on, direction in which it goes on or 0).

    ``near`` is sorted by ``bound``, which no price through the node falls below. The node or -1,
    the word, its price in mm, and the tries used.
    """
    radius = lattice.headings * lattice.move_mm / (2 * math.pi)
    per_cost = lattice.move_mm / 10.0
    change_mm = lattice.change_cost * per_cost
    out = np.empty((MOST_WORDS, 6))
    chosen, found = np.zeros(6), -1
    tries = 0
    for n in range(len(near)):
        if bound[n] >= best or tries >= most_tries:
            break
        a = near[n]
        came = 0
        if nodes.move[a] >= 0:
            came = -1 if nodes.move[a] % 6 >= 3 else 1
        x, y, h = nodes.x[a], nodes.y[a], nodes.heading[a]
        count = words(x, y, h, goal[0], goal[1], goal[2], radius, out)
        for w in range(count):
            price, allowed = price_of(
                out[w], came, int(goal[4]), change_mm, lattice.directions == 2
            )
            price += nodes.cost[a] * per_cost + goal[3]
            if not allowed or price >= best:
                continue
            tries += 1
            if word_clear(ground, body, x, y, h, out[w]):
                best, found = price, a
                chosen[:] = out[w]
    return found, chosen, best, tries


@njit(cache=True, nogil=True)
def near_nodes(
    nodes: Nodes, count: int, lattice: Lattice, x: float, y: float, heading: float, reach_mm: float
) -> tuple[NDArray[np.int64], Floats]:
    """Nodes within reach of a pose, with the least price of a path through them.

    No path is shorter than the distance, nor than the arc of least radius that turns the vehicle
    to the heading.
    """
    per_cost = lattice.move_mm / 10.0
    radius = lattice.headings * lattice.move_mm / (2 * math.pi)
    total = 0
    for n in range(count):
        if abs(nodes.x[n] - x) < reach_mm and abs(nodes.y[n] - y) < reach_mm:
            total += 1
    near = np.empty(total, dtype=np.int64)
    bound = np.empty(total)
    total = 0
    for n in range(count):
        dx, dy = nodes.x[n] - x, nodes.y[n] - y
        if abs(dx) < reach_mm and abs(dy) < reach_mm:
            near[total] = n
            turn = abs((nodes.heading[n] - heading + math.pi) % (2 * math.pi) - math.pi)
            bound[total] = nodes.cost[n] * per_cost + max(math.hypot(dx, dy), radius * turn)
            total += 1
    return near, bound


@njit(cache=True, nogil=True)
def shortened(
    ground: Ground,
    body: Body,
    radius: float,
    change_mm: float,
    may_reverse: bool,
    poses: Floats,
    pieces: Floats,
    tries: int,
) -> tuple[int, int, Floats]:
    """The join between two of the path's poses that saves most: from, to (exclusive), word.

    ``pieces[i]`` (1/radius, length) leads from ``poses[i]`` to ``poses[i + 1]``. -1 if none saves.
    """
    n = len(pieces)
    out = np.empty((MOST_WORDS, 6))
    chosen = np.zeros(6)
    first, last, most_saved = -1, -1, 1.0
    for i in range(n):
        came = 0 if i == 0 else (1 if pieces[i - 1, 1] > 0 else -1)
        price, going = 0.0, came
        for j in range(i, n):
            direction = 1 if pieces[j, 1] > 0 else -1
            price += abs(pieces[j, 1])
            if going * direction < 0:
                price += change_mm
            going = direction
            if j == i:
                continue
            goes = 0 if j + 1 == n else (1 if pieces[j + 1, 1] > 0 else -1)
            old = price + (change_mm if goes * going < 0 else 0.0)
            count = words(
                poses[i, 0], poses[i, 1], poses[i, 2],
                poses[j + 1, 0], poses[j + 1, 1], poses[j + 1, 2], radius, out,
            )  # fmt: skip
            for w in range(count):
                new, allowed = price_of(out[w], came, goes, change_mm, may_reverse)
                if not allowed or old - new <= most_saved:
                    continue
                tries -= 1
                if tries < 0:
                    return first, last, chosen
                if word_clear(ground, body, poses[i, 0], poses[i, 1], poses[i, 2], out[w]):
                    first, last, most_saved = i, j + 1, old - new
                    chosen[:] = out[w]
    return first, last, chosen
