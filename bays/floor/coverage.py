"""Do the places that were read cover the zone that is asked about?"""

from __future__ import annotations

import math
from typing import Any, NamedTuple, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, Polygon

Floats = NDArray[np.float64]

# Readings this near outside the zone's edge still belong to it.
EDGE_MM = 1.0
# Places on one line say nothing about what lies beside it; a narrower strip counts as a line.
THINNEST_SURVEY_MM = 50.0


class CoverageRule(Protocol):
    """When a survey counts as covering a zone: the shop's own rule; common practice, no source."""

    @property
    def beyond_mm(self) -> float: ...
    @property
    def gap_mm(self) -> float | None: ...


class Uncovered(NamedTuple):
    """What the survey leaves out: its share of the zone, the middle of it, and the gap if any."""

    share_percent: float
    middle: tuple[float, float]
    gap_mm: float | None = None


def as_polygon(polygon: Any) -> Polygon:
    """A polygon, or its corners in millimetres, as shapely has it."""
    return polygon if isinstance(polygon, Polygon) else Polygon(polygon)


def finite_rows(points: Any) -> Floats:
    """Readings ``x, y, value`` as rows; those with a figure that is no number are left out."""
    rows = np.asarray(points, dtype=float).reshape(-1, 3)
    finite: Floats = rows[np.isfinite(rows).all(axis=1)]
    return finite


def reach_mm(rule: CoverageRule) -> float:
    """How far outside a zone a reading still helps to cover it: at a corner, off both sides."""
    return max(EDGE_MM, math.sqrt(2) * rule.beyond_mm)


def near(zone: Polygon, readings: Floats, within_mm: float) -> NDArray[np.bool_]:
    """Which readings lie within a zone or at most so far outside it."""
    low_x, low_y, high_x, high_y = zone.bounds
    x, y = readings[:, 0], readings[:, 1]
    found: NDArray[np.bool_] = (
        (x >= low_x - within_mm)
        & (x <= high_x + within_mm)
        & (y >= low_y - within_mm)
        & (y <= high_y + within_mm)
    )
    found[found] = shapely.dwithin(zone, shapely.points(readings[found, :2]), within_mm)
    return found


def spread_mm(places: Floats) -> float:
    """The width of the narrowest strip, about the main direction, that holds all places."""
    centred = places - places.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    across = centred @ axes[-1]
    return float(across.max() - across.min())


def uncovered(zone: Polygon, places: Floats, rule: CoverageRule) -> Uncovered | None:
    """The part of a zone that the places do not cover, None if they cover it.

    A zone is covered when no place in it is farther than ``beyond_mm`` outside the convex hull of
    the places, nor (where asked for) farther than ``gap_mm`` from every one of them.
    """
    spots = MultiPoint(places)
    # with square corners: a grid that ends so far from both sides of a corner covers it
    reach = spots.convex_hull.buffer(rule.beyond_mm + EDGE_MM, join_style="mitre", mitre_limit=1.5)
    beyond = zone.difference(reach)
    if not beyond.is_empty:
        return _part(beyond, zone, None)
    if rule.gap_mm is not None:
        far = zone.difference(spots.buffer(rule.gap_mm, quad_segs=32))
        if not far.is_empty:
            return _part(far, zone, rule.gap_mm)
    return None


def _part(piece: Any, zone: Polygon, gap_mm: float | None) -> Uncovered:
    # of several pieces the largest is named: that is where to read first
    largest = max(shapely.get_parts(piece), key=lambda part: part.area)
    middle = largest.representative_point()
    return Uncovered(max(100 * piece.area / zone.area, 1.0), (middle.x, middle.y), gap_mm)
