"""Fits without room to spare: judged exactly at the headings that line sides up.

Where a clear zone fits a gap exactly, only the one heading will do that lays a side of it along a
side of the gap, and no box of poses, however small, has such a pose in its middle. So the boxes
left undecided are looked at once more with exact regions, at every such heading within them.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

from bays.floor.boxes import Boxes, FoundSets, Level, Question
from bays.floor.clearance import TOUCH_MM, grown, turn
from bays.floor.pieces import SOLID, Bools, Convex, Floats, Ints

MOST_HEADINGS = 200
SAME_DIRECTION_DEG = 1e-9
# Sides shorter than this, such as the chords of an arc, need not be lined up.
SHORTEST_SIDE_MM = 100.0
MOST_GROUPS = 400


def take_up_aligned(question: Question, found: FoundSets, level: Level) -> None:
    """Look for further sets among the boxes left, at headings that line sides up."""
    if not len(level.boxes):
        return
    headings: list[float | None] = [None]
    if level.half_rad:
        half = np.full(len(level.boxes), level.half_rad)
        headings = [*lined_up_headings(question, level.boxes.heading, half)]
    for heading in headings:
        here = _holding(level, heading)
        for group in _groups(level.boxes, here):
            deg = math.degrees(level.boxes.heading[group[0]]) if heading is None else heading
            _look_at(question, found, level, group, deg)


def _holding(level: Level, heading: float | None) -> Ints:
    if heading is None:
        return np.arange(len(level.boxes))
    off = level.boxes.heading - math.radians(heading)
    turned = np.abs((off + math.pi) % (2 * math.pi) - math.pi)
    return np.flatnonzero(turned <= level.half_rad + 1e-12)


def _groups(boxes: Boxes, which: Ints) -> list[Ints]:
    """Boxes that surely take the same zones, and for fixed headings stand at the same one."""
    if not len(which):
        return []
    rows = boxes.taken[which]
    _, kind = np.unique(rows, axis=0, return_inverse=True)
    return [which[kind.ravel() == k] for k in range(min(kind.max() + 1, MOST_GROUPS))]


def lined_up_headings(question: Question, headings: Floats, half_rad: Floats) -> list[float]:
    """Headings in degrees that lay a side of a part along a side on the floor, within these
    ranges (in radians)."""
    if not len(headings):
        return []
    floor = _unique(
        np.concatenate([_directions(group.shape.corners) for group in question.floor.groups])
    )
    own = _unique(np.concatenate([_directions(shape.corners) for shape in question.asked.shapes]))
    lined_up = _unique(floor[:, None] - own[None, :])
    ranges = np.unique(np.round(np.degrees([headings, half_rad]), 9), axis=1)
    off = np.abs((lined_up[:, None] - ranges[0] + 180.0) % 360.0 - 180.0)
    inside = (off <= ranges[1] + SAME_DIRECTION_DEG).any(axis=1)
    chosen: list[float] = lined_up[inside].tolist()
    return chosen[:MOST_HEADINGS]


def _directions(rings: Floats) -> Floats:
    along = np.roll(rings, -1, axis=1) - rings
    length = np.hypot(along[..., 0], along[..., 1])
    kept = along[length >= SHORTEST_SIDE_MM]
    return _unique(np.degrees(np.arctan2(kept[:, 1], kept[:, 0])))


def _unique(degrees: Floats) -> Floats:
    """Each direction once; both ways along a side are kept apart."""
    turned = np.sort(degrees.ravel() % 360.0)
    if not len(turned):
        return turned
    fresh = np.append(True, np.diff(turned) > SAME_DIRECTION_DEG)
    kept: Floats = turned[fresh]
    if len(kept) > 1 and kept[0] + 360.0 - kept[-1] <= SAME_DIRECTION_DEG:
        kept = kept[:-1]
    return kept


def _look_at(
    question: Question, found: FoundSets, level: Level, group: Ints, heading_deg: float
) -> None:
    boxes = level.boxes
    domain = _positions(question, level, group, heading_deg)
    member = np.zeros(len(boxes), dtype=bool)
    member[group] = True
    sure = boxes.taken[group[0]]
    met: dict[int, list[Any]] = {}
    for (k, g), (box, piece) in level.pairs.items():
        near = np.unique(piece[member[box]])
        part = _turned_part(question, k, heading_deg)
        for one in near.tolist():
            owner = int(question.floor.groups[g].owner[one])
            if owner == SOLID or not sure[owner]:
                solid = question.floor.groups[g].shape.corners[one]
                cloud = (solid[:, None, :] - part[None, :, :]).reshape(-1, 2)
                met.setdefault(owner, []).append(shapely.convex_hull(shapely.multipoints(cloud)))
    free = domain.difference(shapely.union_all(met.pop(SOLID, [])))
    cells: list[tuple[Any, Bools]] = [(free, sure)]
    for owner, hulls in met.items():
        cells = _split(cells, owner, shapely.union_all(hulls))
    for cell, row in cells:
        core = shapely.buffer(cell, -TOUCH_MM / 4, join_style="mitre")
        spots = [p.representative_point() for p in shapely.get_parts(core) if p.area]
        if spots:
            spot = (spots[0].x, spots[0].y, math.radians(heading_deg))
            found.add(row[None, :], [spot])


def _split(cells: list[tuple[Any, Bools]], owner: int, taken: Any) -> list[tuple[Any, Bools]]:
    halves: list[tuple[Any, Bools]] = []
    for cell, row in cells:
        also = row.copy()
        also[owner] = True
        both = ((cell.intersection(taken), also), (cell.difference(taken), row))
        halves.extend((piece, held) for piece, held in both if piece.area > 0)
    return halves


def _positions(question: Question, level: Level, group: Ints, heading_deg: float) -> Any:
    x, y, half = level.boxes.x[group], level.boxes.y[group], level.half_mm * (1 + 1e-9)
    domain = shapely.union_all(shapely.box(x - half, y - half, x + half, y + half))
    if question.standing is None:
        return domain
    middle = turn(np.array([question.asked.body]), heading_deg)[0]
    bays = shapely.union_all([Polygon(bay - middle) for bay in question.standing.corners])
    return domain.intersection(bays)


def _turned_part(question: Question, k: int, heading_deg: float) -> Floats:
    shape: Convex = question.asked.shapes[k]
    ring = grown(Polygon(shape.corners[0]), question.asked.margin_mm - TOUCH_MM)
    return turn(shapely.get_coordinates(ring.exterior)[:-1], heading_deg)
