"""Lines with arcs in them, drawn as straight lines on the side that is safe. Pure.

A vertex is ``(x, y, bulge)``: the bulge is the tangent of a quarter of the angle of the arc that
leads to the next vertex, positive where it turns left, 0 where the way is straight (DXF reference,
LWPOLYLINE, group code 42). Lengths in millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final, Literal

import shapely
from shapely.geometry import Polygon

Vertex = tuple[float, float, float]
Path = list[Vertex]
Point = tuple[float, float]
# outside: never smaller than the true shape, for what is solid. inside: never larger, for floor.
Side = Literal["outside", "inside"]

OFF_MM: Final = 5.0  # how far the straight lines may be from the arc
_ROUNDING_MM: Final = 0.75  # the corner of a whole-millimetre square is 0.71 mm off its middle


def straightened(ring: Sequence[Vertex], side: Side, off_mm: float = OFF_MM) -> list[Point]:
    """A closed ring without arcs; the ring's own area inside (or outside) what is returned.

    An arc that bulges out of the shape is drawn by tangents where the shape must not get smaller
    and by chords where it must not get larger; one that cuts into the shape the other way round.
    """
    left = _turns_left(ring)
    points: list[Point] = []
    for start, end in pairwise([*ring, ring[0]]):
        points.append((start[0], start[1]))
        if start[2]:
            bulges_out = (start[2] > 0) == left
            points += _between(start, end, off_mm, tangents=bulges_out == (side == "outside"))
    return points


def chords(path: Sequence[Vertex], off_mm: float = 0.5) -> list[Point]:
    """An open path by chords, with its last vertex."""
    points: list[Point] = []
    for start, end in pairwise(path):
        points.append((start[0], start[1]))
        if start[2]:
            points += _between(start, end, off_mm, tangents=False)
    return [*points, (path[-1][0], path[-1][1])]


def backwards(path: Sequence[Vertex]) -> list[Vertex]:
    """The same open path from its other end."""
    places = [(x, y) for x, y, _ in reversed(path)]
    bulges = [-bulge for _, _, bulge in reversed(path[:-1])] + [0.0]
    return [(x, y, bulge) for (x, y), bulge in zip(places, bulges, strict=True)]


def whole_mm(points: Sequence[Point], side: Side) -> list[list[int]]:
    """Corners in whole millimetres, still on the safe side of the ring given.

    A ring that meets itself is only rounded: it is a fault, and is to be seen as it is.
    """
    exact = Polygon(points)
    rounded = _rounded(points)
    if not exact.is_valid or exact.is_empty or _safe(rounded, exact, side):
        return rounded
    grown = exact.buffer(_ROUNDING_MM if side == "outside" else -_ROUNDING_MM, join_style="mitre")
    if not isinstance(grown, Polygon) or grown.is_empty:
        return rounded
    return _rounded(list(grown.exterior.coords)[:-1])


def _safe(rounded: list[list[int]], exact: Polygon, side: Side) -> bool:
    if len(rounded) < 3:
        return True
    shape = Polygon(rounded)
    if not shape.is_valid:
        return True
    inner, outer = (exact, shape) if side == "outside" else (shape, exact)
    return bool(shapely.difference(inner, outer).area < 1e-6)


def _rounded(points: Sequence[Point]) -> list[list[int]]:
    found: list[list[int]] = []
    for x, y in points:
        corner = [round(x), round(y)]
        if not found or corner != found[-1]:
            found.append(corner)
    while len(found) > 1 and found[0] == found[-1]:
        found.pop()
    return found


def _turns_left(ring: Sequence[Vertex]) -> bool:
    points = chords([*ring, ring[0]])
    twice = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise(points))
    return twice > 0


def _between(start: Vertex, end: Vertex, off_mm: float, *, tangents: bool) -> list[Point]:
    """The points between two vertices joined by an arc, neither of them included."""
    (x0, y0, bulge), (x1, y1, _) = start, end
    chord = math.hypot(x1 - x0, y1 - y0)
    if chord == 0:
        return []
    sweep = 4 * math.atan(bulge)
    radius = chord * (1 + bulge * bulge) / (4 * abs(bulge))
    # The middle lies this far off the chord, to its left for a left turn under half a circle.
    off = chord * (1 - bulge * bulge) / (4 * bulge)
    middle_x = (x0 + x1) / 2 - (y1 - y0) / chord * off
    middle_y = (y0 + y1) / 2 + (x1 - x0) / chord * off
    # Tangents are off by radius (1 / cos(step / 2) - 1), chords by less.
    most = min(2 * math.acos(radius / (radius + off_mm)), math.pi / 4)
    count = max(1, math.ceil(abs(sweep) / most))
    step = sweep / count
    first = math.atan2(y0 - middle_y, x0 - middle_x)
    if tangents:
        reach, turns = radius / math.cos(step / 2), [step * (i + 0.5) for i in range(count)]
    else:
        reach, turns = radius, [step * i for i in range(1, count)]
    return [
        (middle_x + reach * math.cos(first + turn), middle_y + reach * math.sin(first + turn))
        for turn in turns
    ]
