"""What a survey says, drawn on the floor plan in the shop's units."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from bays import floor
from bays.convert.survey_map import (
    Fall,
    Mark,
    Point,
    Sheet,
    SurveyMap,
    Worst,
    blank_map,
    contours,
    fall,
    marks,
    worst,
)
from bays.floor.coverage import THINNEST_SURVEY_MM, spread_mm
from bays.floor.light_answer import LUX_PER_FOOTCANDLE
from bays.models import FloorSurvey, LightSurvey
from bays.selectors.surveys import bay_floor, survey_name

MM_PER_INCH = 25.4


def survey_picture(
    plan: floor.FloorPlan, survey: FloorSurvey | LightSurvey, units: str
) -> SafeString:
    """A survey on the plan: readings, lines of one value, each bay's fall or darkest place."""
    if isinstance(survey, FloorSurvey):
        return drawn(_heights(plan, survey, units))
    return drawn(_light(plan, survey, units))


def refused_picture(
    plan: floor.FloorPlan, points: Sequence[Sequence[float]], wrong: Iterable[int], units: str
) -> SafeString:
    """What was typed and refused: places not on the floor crossed out, one line drawn through."""
    sheet, crossed = Sheet(plan), set(wrong)
    says = "Crossed out: not on the floor."
    shown = [(x, y) for x, y, _ in points]
    line = None
    if not crossed and len(shown) > 1:
        places = np.array(shown, dtype=float)
        if spread_mm(places) < THINNEST_SURVEY_MM:
            line = _line_through(sheet, places)
            says = "All readings lie on the line drawn: beside it nothing is known."
    found = []
    for index, (x, y) in enumerate(shown):
        px, py = sheet.at(*_held(plan, x, y))
        found.append(Mark(px, py, f"reading {index + 1}", wrong=index in crossed, large=True))
    picture = blank_map(plan, "The readings as they were typed", says, units)
    return drawn(replace(picture, marks=tuple(found), line=line))


def drawn(picture: SurveyMap) -> SafeString:
    """The SVG of a map."""
    return render_to_string("bays/survey_map.svg.html", {"map": picture})


def _heights(plan: floor.FloorPlan, survey: FloorSurvey, units: str) -> SurveyMap:
    sheet, readings = Sheet(plan), np.array(survey.points, dtype=float)
    unit, name = (MM_PER_INCH, "in") if units == "us" else (1.0, "mm")
    words = "inches" if units == "us" else "mm"
    says = (
        f"Lines of equal height in {words}; arrows show which way each bay falls and how steeply; "
        f"rings the reading that is farthest off its bay's plane, in {words}."
    )
    base = blank_map(plan, survey_name(survey), says, units)
    names = [bay.at for bay in base.bays]
    falls, rings = [], []
    for bay in _single(plan):
        area = bay_floor(plan, bay)
        none = floor.LevelTolerance(None, None)
        found = floor.level(
            survey.points, area, 0, none, reading_uncertainty_mm=survey.reading_uncertainty_mm
        )
        if found.slope_percent is None or found.verdict == "unknown":
            continue
        assert found.along_percent is not None
        assert found.across_percent is not None
        assert found.max_deviation_mm is not None
        assert found.worst_point is not None
        down = (-found.along_percent, -found.across_percent)
        sign = "+" if found.worst_is_above else "−"
        off = f"{sign}{found.max_deviation_mm / unit:.{2 if units == 'us' else 1}f}"
        ring = worst(sheet, found.worst_point, off, base.bays)
        rings.append(ring)
        falls.append(fall(sheet, area, down, f"{found.slope_percent:.2f} %", ring))
    return replace(
        base,
        marks=marks(sheet, survey.points, lambda z: _signed(z / unit, units), name),
        contours=contours(sheet, readings, unit, _written(names, rings, falls)),
        falls=tuple(falls),
        worst=tuple(rings),
    )


def _light(plan: floor.FloorPlan, survey: LightSurvey, units: str) -> SurveyMap:
    sheet, readings = Sheet(plan), np.array(survey.points, dtype=float)
    unit, name = (LUX_PER_FOOTCANDLE, "fc") if units == "us" else (1.0, "lux")
    words = "footcandles" if units == "us" else "lux"
    says = f"Lines of equal light in {words}; rings the darkest place of each bay, in {words}."
    base = blank_map(plan, survey_name(survey), says, units)
    names = [bay.at for bay in base.bays]
    rings = []
    for bay in _single(plan):
        found = floor.light(survey.points, bay_floor(plan, bay), floor.LightTolerance(None))
        if found.verdict == "unknown" or found.darkest_point is None:
            continue
        least = f"{(found.least_lux or 0) / unit:.{1 if units == 'us' else 0}f}"
        rings.append(worst(sheet, found.darkest_point, least, base.bays))
    return replace(
        base,
        marks=marks(sheet, survey.points, lambda lux: f"{lux / unit:.0f}", name),
        contours=contours(sheet, readings, unit, _written(names, rings, [])),
        worst=tuple(rings),
    )


def _written(names: Sequence[Point], rings: Sequence[Worst], falls: Sequence[Fall]) -> list[Point]:
    """Where there are words already; a name runs to the right of its place."""
    places = [(x + 24, y - 4) for x, y in names]
    places += [(ring.x, ring.y) for ring in rings] + [ring.at for ring in rings]
    return places + [arrow.at for arrow in falls] + [arrow.end for arrow in falls]


def _single(plan: floor.FloorPlan) -> list[floor.Bay]:
    """Bays of one zone: joined ones would be drawn over these."""
    return [bay for bay in plan.bays if len(bay.zones) == 1]


def _signed(value: float, units: str) -> str:
    text = f"{abs(value):.{2 if units == 'us' else 1}f}"
    if float(text) == 0:
        return text
    return f"{'−' if value < 0 else '+'}{text}"


def _held(plan: floor.FloorPlan, x: float, y: float) -> tuple[float, float]:
    """A place far off the floor is shown at the edge of the picture."""
    west, south, east, north = plan.outline.bounds
    return min(max(x, west), east), min(max(y, south), north)


def _line_through(sheet: Sheet, places: Any) -> Any:
    middle = places.mean(axis=0)
    _, _, axes = np.linalg.svd(places - middle, full_matrices=False)
    west, south, east, north = shapely.MultiPoint(places).bounds
    reach = math.hypot(east - west, north - south) / 2 + 1000
    first, last = middle - reach * axes[0], middle + reach * axes[0]
    return (sheet.at(*first), sheet.at(*last))
