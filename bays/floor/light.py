"""Is a piece of floor lit well enough? Readings interpolated between, never beyond."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from bays.floor.coverage import (
    EDGE_MM,
    THINNEST_SURVEY_MM,
    Floats,
    as_polygon,
    finite_rows,
    near,
    reach_mm,
    spread_mm,
    uncovered,
)
from bays.floor.light_answer import (
    LUX_PER_FOOTCANDLE,
    Light,
    LightReason,
    LightTolerance,
    light_judgements,
)
from bays.floor.light_words import light_figures, light_words
from bays.floor.verdict import Verdict, together

__all__ = ["LUX_PER_FOOTCANDLE", "Light", "LightTolerance", "light", "light_figures", "light_words"]


def light(
    points: Sequence[Sequence[float]],
    polygon: Polygon | Sequence[Sequence[float]],
    tolerance: LightTolerance,
    *,
    reading_uncertainty_percent: float = 0.0,
    overdue_since: date | None = None,
) -> Light:
    """Judge the light in a zone by the readings in it and up to ``beyond_mm`` around it.

    ``points`` are ``x, y, lux``, millimetres in the plan's frame; readings at one place are
    averaged. Over the triangles between the readings (Delaunay) the light is taken as linear, so
    its darkest and brightest places lie at readings or where a triangle's edge or a corner of the
    zone is: these are looked at exactly, nothing is sampled. The mean is by area.

    ``reading_uncertainty_percent`` is the standard uncertainty of a reading, of its value.
    "unknown" as for ``level``: too few places, on one line, the zone not covered, a limit inside
    the expanded uncertainty, or a yes by readings that are overdue.
    """
    zone = as_polygon(polygon)
    every = finite_rows(points)
    every = _averaged(every[near(zone, every, reach_mm(tolerance))])
    found = Light("unknown", "", places=len(every), overdue_since=overdue_since)
    found = replace(found, uncertainty_percent=reading_uncertainty_percent)
    if len(every) < 3:
        return _said(replace(found, reason="too_few"), tolerance)
    if spread_mm(every[:, :2]) < THINNEST_SURVEY_MM:
        return _said(replace(found, reason="line"), tolerance)
    read = _read(found, zone, every)
    left_out = uncovered(zone, every[:, :2], tolerance)
    if left_out or read.least_lux is None:
        return _said(replace(read, reason="not_covered", left_out=left_out), tolerance)
    return _said(_judged(read, tolerance), tolerance)


def _said(found: Light, tolerance: LightTolerance) -> Light:
    return replace(found, says=light_words(found, tolerance))


def _judged(found: Light, tolerance: LightTolerance) -> Light:
    rows = light_judgements(found, tolerance)
    verdict = together(row.verdict for row in rows)
    reasons: dict[Verdict, LightReason] = {"yes": "lit", "no": "not_lit", "unknown": "too_close"}
    reason = reasons[verdict]
    if verdict == "yes" and found.overdue_since is not None:
        verdict, reason = "unknown", "overdue"
    tightest = min(rows, key=lambda row: row.slack, default=None)
    most = tightest is not None and tightest.name == "most"
    worst = found.brightest_point if most else found.darkest_point
    return replace(found, verdict=verdict, reason=reason, worst_point=worst)


def _averaged(readings: Floats) -> Floats:
    """One reading a place: the mean of those taken there, in the order of the places."""
    if not len(readings):
        return readings
    places, of_place = np.unique(readings[:, :2], axis=0, return_inverse=True)
    sums = np.bincount(of_place.ravel(), weights=readings[:, 2])
    return np.column_stack([places, sums / np.bincount(of_place.ravel())])


def _read(found: Light, zone: Polygon, readings: Floats) -> Light:
    """The darkest, the brightest and the mean over what the readings enclose of the zone."""
    from scipy.spatial import Delaunay  # slow to import, and only light needs it

    mesh = Delaunay(readings[:, :2])
    shapely.prepare(zone)
    lux = readings[:, 2]
    spots = np.vstack(
        [
            readings[near(zone, readings, EDGE_MM)],
            _on_edges(zone, readings, mesh),
            _at_corners(zone, lux, mesh),
        ]
    )
    if not len(spots):
        return found
    dark, bright = spots[np.argmin(spots[:, 2])], spots[np.argmax(spots[:, 2])]
    return replace(
        found,
        least_lux=float(dark[2]),
        most_lux=float(bright[2]),
        mean_lux=_mean(zone, lux, mesh, float(spots[:, 2].mean())),
        darkest_point=(float(dark[0]), float(dark[1])),
        brightest_point=(float(bright[0]), float(bright[1])),
        worst_point=(float(dark[0]), float(dark[1])),
    )


def _on_edges(zone: Polygon, readings: Floats, mesh: Any) -> Floats:
    """Where the triangles' edges cross the zone's edge."""
    pairs = mesh.simplices[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    ends = np.unique(np.sort(pairs, axis=1), axis=0)
    lines = shapely.linestrings(readings[ends][:, :, :2])
    crossed = shapely.intersection(lines, zone.boundary)
    places, of_line = shapely.get_coordinates(crossed, return_index=True)
    start, stop = readings[ends[of_line, 0]], readings[ends[of_line, 1]]
    way = stop[:, :2] - start[:, :2]
    part = ((places - start[:, :2]) * way).sum(axis=1) / (way**2).sum(axis=1)
    return np.column_stack([places, start[:, 2] + part * (stop[:, 2] - start[:, 2])])


def _at_corners(zone: Polygon, lux: Floats, mesh: Any) -> Floats:
    """The zone's own corners that lie among the readings."""
    corners = shapely.get_coordinates(zone)
    count = len(mesh.simplices)
    pairs = np.repeat(corners, count, axis=0)
    triangles = np.tile(np.arange(count), len(corners))
    shares = _shares(pairs, triangles, mesh)
    inside = (shares >= -1e-9).all(axis=1)
    value = (shares * lux[mesh.simplices[triangles]]).sum(axis=1)
    return np.column_stack([pairs, value])[inside]


def _shares(places: Floats, triangles: NDArray[np.intp], mesh: Any) -> Floats:
    """How much each corner of a place's triangle counts at the place: they add up to 1."""
    a, b, c = np.moveaxis(mesh.points[mesh.simplices[triangles]], 1, 0)
    whole = _cross(b - a, c - a)
    # a triangle without area, as at the rim of a grid, gives no number and holds no place
    with np.errstate(divide="ignore", invalid="ignore"):
        first = _cross(b - places, c - places) / whole
        second = _cross(c - places, a - places) / whole
    return np.column_stack([first, second, 1 - first - second])


def _cross(one: Floats, other: Floats) -> Floats:
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]


def _mean(zone: Polygon, lux: Floats, mesh: Any, otherwise: float) -> float:
    """The mean by area, exact: the integral of a linear light is area times light at the middle.

    ``otherwise`` is the answer where the zone has no area among the readings.
    """
    pieces = shapely.intersection(shapely.polygons(mesh.points[mesh.simplices]), zone)
    areas = shapely.area(pieces)
    taken = np.flatnonzero(areas > 0)
    if not len(taken):
        return otherwise
    middles = shapely.get_coordinates(shapely.centroid(pieces[taken]))
    at_middle = (_shares(middles, taken, mesh) * lux[mesh.simplices[taken]]).sum(axis=1)
    return float(np.average(at_middle, weights=areas[taken]))
