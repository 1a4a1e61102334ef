"""Where on the plan a fault of a drawing can be seen: points, lines and rings in millimetres."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from bays.floor.faults import Mark

# Enough to see what is meant; a drawing with more crossings is no clearer with more marks.
MOST_MARKS = 20


def ring_mark(polygon: Polygon) -> Mark:
    """The outer ring of a polygon, not closed."""
    return tuple((float(x), float(y)) for x, y in polygon.exterior.coords[:-1])


def area_marks(shape: BaseGeometry, least_mm2: float = 1.0) -> tuple[Mark, ...]:
    """The rings of a shape's pieces, the largest first; hairlines are left out."""
    pieces = [
        piece
        for piece in shapely.get_parts(shape).tolist()
        if isinstance(piece, Polygon) and piece.area > least_mm2
    ]
    pieces.sort(key=lambda piece: (-piece.area, piece.bounds))
    return tuple(ring_mark(piece) for piece in pieces[:MOST_MARKS])


def crossing_marks(corners: Sequence[tuple[int, int]]) -> tuple[Mark, ...]:
    """The places where a ring meets itself.

    The line is cut wherever it meets itself. A corner that the line passes once joins two of the
    pieces; a place with one, three or more of them is a turning back, a touch or a crossing.
    """
    line = LineString([*corners, corners[0]])
    ends: Counter[tuple[float, float]] = Counter()
    for piece in shapely.get_parts(shapely.node(line)).tolist():
        points = list(piece.coords)
        for start, end in pairwise(points):
            ends.update([start, end])
    places = sorted(place for place, count in ends.items() if count != 2)
    return tuple(((float(x), float(y)),) for x, y in places[:MOST_MARKS])
