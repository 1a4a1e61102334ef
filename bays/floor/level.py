"""Is a piece of floor level enough? One plane fitted to surveyed heights, and what is off it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, Polygon

# Readings this near outside the zone's edge still belong to it.
EDGE_MM = 1.0
# Readings on one line say nothing about slope across it; below this spread they count as a line.
THINNEST_SURVEY_MM = 50.0

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LevelTolerance:
    """The most slope and the most deviation from the plane that are allowed.

    A survey covers a zone when no place in it is farther than ``beyond_mm`` outside the readings'
    convex hull, nor (where a shop asks for it) farther than ``gap_mm`` from every reading. Both are
    the shop's own rules; common practice, no source.
    """

    slope_percent: float
    deviation_mm: float
    beyond_mm: float = 500.0
    gap_mm: float | None = None


@dataclass(frozen=True)
class Level:
    """``verdict`` is "yes", "no" or "unknown"; ``says`` gives the reason.

    ``along_percent`` is positive when the floor rises ahead, ``across_percent`` when it rises to
    the left. ``max_deviation_mm`` is the greatest vertical distance from the plane, up or down, at
    ``worst_point``. Figures are ``None`` when no plane can be fitted.
    """

    verdict: str
    says: str
    slope_percent: float | None = None
    along_percent: float | None = None
    across_percent: float | None = None
    max_deviation_mm: float | None = None
    worst_point: tuple[float, float] | None = None


def level(
    survey_points: Sequence[Sequence[float]],
    polygon: Polygon | Sequence[Sequence[float]],
    heading_deg: float,
    tolerance: LevelTolerance,
) -> Level:
    """Judge a zone by the readings inside it.

    ``survey_points`` are ``x, y, height`` in millimetres in the plan's frame. One plane is fitted
    by least squares; residuals are vertical, as a level reads them (up to 1 % slope they differ
    from perpendicular distances by less than 0.01 %). "unknown" when the survey does not cover the
    zone, has fewer than three readings in it, or they lie on one line. Limits themselves are
    allowed.
    """
    zone = polygon if isinstance(polygon, Polygon) else Polygon(polygon)
    readings = np.array([tuple(point) for point in survey_points], dtype=float).reshape(-1, 3)
    readings = readings[np.isfinite(readings).all(axis=1)]
    inside = shapely.dwithin(zone, shapely.points(readings[:, :2]), EDGE_MM)
    readings = readings[inside]
    places = np.unique(readings[:, :2], axis=0)
    if len(places) < 3:
        return Level("unknown", f"Only {len(places)} places in the zone were surveyed.")
    if _spread_mm(places) < THINNEST_SURVEY_MM:
        return Level("unknown", "The surveyed places lie on one line.")
    fitted = _fit(readings, heading_deg)
    gap = _uncovered(zone, places, tolerance)
    if gap:
        return Level("unknown", gap, *fitted)
    return _judged(fitted, tolerance)


_Fitted = tuple[float, float, float, float, tuple[float, float]]


def _fit(readings: Floats, heading_deg: float) -> _Fitted:
    """Slope, along, across (percent), greatest deviation (mm) and its place."""
    middle = readings.mean(axis=0)
    x, y, z = (readings - middle).T
    (dx, dy), *_ = np.linalg.lstsq(np.column_stack([x, y]), z, rcond=None)
    off = z - dx * x - dy * y
    worst = int(np.argmax(np.abs(off)))
    c, s = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
    return (
        100 * math.hypot(dx, dy),
        100 * float(dx * c + dy * s),
        100 * float(dy * c - dx * s),
        float(abs(off[worst])),
        (float(readings[worst, 0]), float(readings[worst, 1])),
    )


def _spread_mm(places: Floats) -> float:
    """The width of the narrowest strip, about the main direction, that holds all places."""
    centred = places - places.mean(axis=0)
    _, _, axes = np.linalg.svd(centred, full_matrices=False)
    across = centred @ axes[-1]
    return float(across.max() - across.min())


def _uncovered(zone: Polygon, places: Floats, tolerance: LevelTolerance) -> str:
    spots = MultiPoint(places)
    beyond = zone.difference(spots.convex_hull.buffer(tolerance.beyond_mm + EDGE_MM))
    if not beyond.is_empty:
        return f"The survey leaves out {_share(beyond, zone)} of the zone."
    if tolerance.gap_mm is not None:
        far = zone.difference(spots.buffer(tolerance.gap_mm, quad_segs=32))
        if not far.is_empty:
            return f"Readings are more than {tolerance.gap_mm:g} mm away in {_share(far, zone)}."
    return ""


def _share(piece: Any, zone: Polygon) -> str:
    return f"{max(100 * piece.area / zone.area, 1):.0f} %"


def _judged(fitted: _Fitted, tolerance: LevelTolerance) -> Level:
    slope, _, _, deviation, _ = fitted
    too_much: list[str] = []
    # a millionth is rounding, not slope
    if slope > tolerance.slope_percent + 1e-6:
        too_much.append(f"slopes {slope:.2f} %, allowed {tolerance.slope_percent:g} %")
    if deviation > tolerance.deviation_mm + 1e-6:
        too_much.append(
            f"is {deviation:.1f} mm off its plane, allowed {tolerance.deviation_mm:g} mm"
        )
    if too_much:
        return Level("no", f"The floor {' and '.join(too_much)}.", *fitted)
    return Level("yes", f"Slope {slope:.2f} %, at most {deviation:.1f} mm off the plane.", *fitted)
