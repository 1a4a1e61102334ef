"""Is a piece of floor level enough? One plane fitted to surveyed heights, and what is off it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
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
from bays.floor.level_answer import Level, LevelReason, LevelTolerance, judgements
from bays.floor.level_words import level_figures, level_words
from bays.floor.verdict import Verdict, together

__all__ = ["Level", "LevelTolerance", "level", "level_figures", "level_words"]


def level(
    survey_points: Sequence[Sequence[float]],
    polygon: Polygon | Sequence[Sequence[float]],
    heading_deg: float,
    tolerance: LevelTolerance,
    *,
    reading_uncertainty_mm: float = 0.0,
    overdue_since: date | None = None,
) -> Level:
    """Judge a zone by the readings inside it.

    ``survey_points`` are ``x, y, height`` in millimetres in the plan's frame, in any order; a place
    may be read more than once. One plane is fitted by least squares; residuals are vertical, as a
    level reads them (up to 1 % slope they differ from perpendicular distances by less than
    0.01 %). Readings a little outside the zone (``beyond_mm``, at a corner so far from both sides)
    help to cover it, no more.

    ``reading_uncertainty_mm`` is the standard uncertainty of one height, the same for all and
    independent of each other; the slopes' covariance is then s² (AᵀA)⁻¹ (JCGM 100:2008, 5.1;
    ordinary least squares). A tilt of the instrument itself is in none of these figures.

    "unknown" when the survey does not cover the zone, has fewer than three places in it, or they
    lie on one line, or when a limit lies inside the expanded uncertainty (twice the standard one).
    Of readings that are overdue a yes is unknown, for nobody has looked since; a no stays a no, for
    a floor does not mend itself.
    """
    zone = as_polygon(polygon)
    every = finite_rows(survey_points)
    every = every[near(zone, every, reach_mm(tolerance))]
    readings = every[near(zone, every, EDGE_MM)]
    places = np.unique(readings[:, :2], axis=0)
    found = Level("unknown", "", places=len(places))
    found = replace(
        found, reading_uncertainty_mm=reading_uncertainty_mm, overdue_since=overdue_since
    )
    if len(places) < 3:
        return _said(replace(found, reason="too_few"), tolerance)
    if spread_mm(places) < THINNEST_SURVEY_MM:
        return _said(replace(found, reason="line"), tolerance)
    fitted = _fit(found, readings, heading_deg)
    left_out = uncovered(zone, np.unique(every[:, :2], axis=0), tolerance)
    if left_out:
        return _said(replace(fitted, reason="not_covered", left_out=left_out), tolerance)
    verdict = together(each.verdict for each in judgements(fitted, tolerance))
    reasons: dict[Verdict, LevelReason] = {"yes": "level", "no": "not_level"}
    reason = reasons.get(verdict, "too_close")
    if verdict == "yes" and overdue_since is not None:
        verdict, reason = "unknown", "overdue"
    return _said(replace(fitted, verdict=verdict, reason=reason), tolerance)


def _said(found: Level, tolerance: LevelTolerance) -> Level:
    return replace(found, says=level_words(found, tolerance))


def _fit(found: Level, readings: Floats, heading_deg: float) -> Level:
    middle = readings.mean(axis=0)
    x, y, z = (readings - middle).T
    design = np.column_stack([x, y])
    gradient, *_ = np.linalg.lstsq(design, z, rcond=None)
    off = z - design @ gradient
    worst = int(np.argmax(np.abs(off)))
    # centred readings: the constant drops out of the slopes' block of (AᵀA)⁻¹
    unit_covariance = np.linalg.inv(design.T @ design)
    covariance = found.reading_uncertainty_mm**2 * unit_covariance
    c, s = math.cos(math.radians(heading_deg)), math.sin(math.radians(heading_deg))
    ahead, left = np.array([c, s]), np.array([-s, c])
    return replace(
        found,
        slope_percent=100 * float(np.hypot(*gradient)),
        along_percent=100 * float(gradient @ ahead),
        across_percent=100 * float(gradient @ left),
        max_deviation_mm=float(abs(off[worst])),
        worst_point=(float(readings[worst, 0]), float(readings[worst, 1])),
        worst_is_above=bool(off[worst] > 0),
        slope_uncertainty_percent=100 * _steepest_uncertainty(gradient, covariance),
        along_uncertainty_percent=100 * _directed(covariance, ahead),
        across_uncertainty_percent=100 * _directed(covariance, left),
        deviation_uncertainty_mm=found.reading_uncertainty_mm
        * _residual_share(design[worst], unit_covariance, len(readings)),
    )


def _directed(covariance: Floats, direction: Floats) -> float:
    """Standard uncertainty of the slope in a direction."""
    return math.sqrt(max(float(direction @ covariance @ direction), 0.0))


def _steepest_uncertainty(gradient: Floats, covariance: Floats) -> float:
    """Standard uncertainty of the steepest slope.

    To first order it is that of the slope in the steepest direction. Near zero that direction is
    chance, and the worst direction is taken.
    """
    worst = math.sqrt(max(float(np.linalg.eigvalsh(covariance)[-1]), 0.0))
    steepness = float(np.hypot(*gradient))
    if steepness <= 2 * worst:
        return worst
    return _directed(covariance, gradient / steepness)


def _residual_share(place: Floats, unit_covariance: Floats, count: int) -> float:
    """sqrt(1 - h): how much of a reading's own uncertainty is left in its residual.

    h is the reading's leverage; with three readings it is 1, and the residual always 0.
    """
    leverage = 1 / count + float(place @ unit_covariance @ place)
    return math.sqrt(max(1 - leverage, 0.0))
