"""A survey drawn to scale on the floor plan: readings, lines of equal height or light, the falls.

Pure: plain numbers in, drawing units out. Marks differ in shape, not in colour alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay
from shapely.geometry import Polygon

from bays import floor
from bays.floor.coverage import THINNEST_SURVEY_MM, spread_mm

Floats = NDArray[np.float64]
Point = tuple[float, float]

WIDTH: Final = 960.0
TALLEST: Final = 720.0
MARGIN: Final = 16.0
FOOT: Final = 44.0
MOST_LINES: Final = 8
MOST_WRITTEN: Final = 60
_STEPS: Final = (
    0.02,
    0.05,
    0.1,
    0.2,
    0.5,
    1.0,
    2.0,
    5.0,
    10.0,
    20.0,
    50.0,
    100.0,
    200.0,
    500.0,
    1000.0,
)
_ARROW: Final = 46.0


@dataclass(frozen=True)
class Mark:
    """A reading; ``text`` stands beside it where there is room, ``wrong`` crosses it out."""

    x: float
    y: float
    title: str
    text: str = ""
    wrong: bool = False
    large: bool = False


@dataclass(frozen=True)
class Contour:
    """All places of one value; labels stand on the line."""

    path: str
    text: str
    labels: tuple[Point, ...]


@dataclass(frozen=True)
class Fall:
    """An arrow the way the floor falls in a bay, with how much."""

    start: Point
    end: Point
    head: str
    text: str
    at: Point


@dataclass(frozen=True)
class Worst:
    """The place of a bay that is farthest off, ringed and named."""

    x: float
    y: float
    text: str
    anchor: str
    at: Point


@dataclass(frozen=True)
class BayShape:
    name: str
    points: str
    at: Point


@dataclass(frozen=True)
class SurveyMap:
    """What the template draws."""

    title: str
    says: str
    width: float
    height: float
    outline: str
    solid: tuple[str, ...]
    bays: tuple[BayShape, ...]
    marks: tuple[Mark, ...] = ()
    contours: tuple[Contour, ...] = ()
    falls: tuple[Fall, ...] = ()
    worst: tuple[Worst, ...] = ()
    line: tuple[Point, Point] | None = None
    bar_width: float = 0.0
    bar_text: str = ""
    bar_at: Point = (0.0, 0.0)


class Sheet:
    """Maps the plan, y upwards, onto a page whose y runs downwards, at one scale."""

    def __init__(self, plan: floor.FloorPlan) -> None:
        self.west, south, east, self.north = plan.outline.bounds
        self.scale = min(
            (WIDTH - 2 * MARGIN) / (east - self.west),
            (TALLEST - MARGIN - FOOT) / (self.north - south),
        )
        self.left = (WIDTH - (east - self.west) * self.scale) / 2
        self.bottom = MARGIN + (self.north - south) * self.scale
        self.height = self.bottom + FOOT

    def at(self, x: float, y: float) -> Point:
        return (
            round(self.left + (x - self.west) * self.scale, 1),
            round(MARGIN + (self.north - y) * self.scale, 1),
        )

    def ring(self, ring: Any) -> str:
        return _svg(self.at(x, y) for x, y in ring.coords)

    def bar(self, units: str) -> tuple[float, str]:
        """The longest round length that takes at most a fifth of the width."""
        unit, name = (304.8, "ft") if units == "us" else (1000.0, "m")
        fitting = [n for n in (1, 2, 5, 10, 20, 50) if n * unit * self.scale <= WIDTH / 5] or [1]
        return round(fitting[-1] * unit * self.scale, 1), f"{fitting[-1]} {name}"


def blank_map(plan: floor.FloorPlan, title: str, says: str, units: str) -> SurveyMap:
    """The plan with its bays, on which the rest is drawn."""
    sheet = Sheet(plan)
    bar_width, bar_text = sheet.bar(units)
    holes = [sheet.ring(hole) for hole in plan.outline.interiors]
    joined = {bay.id for bay in plan.bays if len(bay.zones) > 1}
    bays = []
    for bay in plan.bays:
        if bay.id in joined:
            continue
        west, _, _, north = bay.area.bounds
        corner = sheet.at(west, north)
        shape = max(shapely.get_parts(bay.area), key=lambda part: part.area)
        at = (round(corner[0] + 6, 1), round(corner[1] + 16, 1))
        bays.append(BayShape(bay.name, sheet.ring(shape.exterior), at))
    return SurveyMap(
        title=title,
        says=says,
        width=WIDTH,
        height=round(sheet.height, 1),
        outline=sheet.ring(plan.outline.exterior),
        solid=(*holes, *(sheet.ring(o.polygon.exterior) for o in plan.obstacles)),
        bays=tuple(bays),
        bar_width=bar_width,
        bar_text=bar_text,
        bar_at=(round(sheet.left, 1), round(sheet.bottom + 24, 1)),
    )


def contours(
    sheet: Sheet, readings: Floats, unit: float, taken: Sequence[Point] = ()
) -> tuple[Contour, ...]:
    """Lines of equal value through the triangles between neighbouring readings.

    ``unit`` is how much of the readings' own unit makes one of the unit shown. Triangles far longer
    than the readings are apart (across a room or outside) are left out. Labels keep off the places
    ``taken`` by others.
    """
    if len(readings) < 3 or spread_mm(readings[:, :2]) < THINNEST_SURVEY_MM:
        return ()
    mesh = Delaunay(readings[:, :2]).simplices
    corners = readings[mesh]
    sides = np.linalg.norm(corners[:, :, :2] - np.roll(corners[:, :, :2], 1, axis=1), axis=2)
    corners = corners[sides.max(axis=1) <= 2.5 * np.median(sides)]
    low, high = readings[:, 2].min() / unit, readings[:, 2].max() / unit
    step = next((s for s in _STEPS if (high - low) / s <= MOST_LINES), _STEPS[-1])
    decimals = max(0, -math.floor(math.log10(step)))
    drawn: list[Contour] = []
    others = list(taken)
    for count in range(math.ceil(low / step), math.floor(high / step) + 1):
        value = count * step
        cuts = _cuts(corners, value * unit + 1e-7)
        if len(cuts):
            ends = [(sheet.at(*start), sheet.at(*end)) for start, end in cuts]
            path = " ".join(f"M{a[0]:g} {a[1]:g}L{b[0]:g} {b[1]:g}" for a, b in ends)
            labels = _labels(sheet, ends, others)
            others += labels
            drawn.append(Contour(path, f"{value:.{decimals}f}", tuple(labels)))
    return tuple(drawn)


def _cuts(corners: Floats, value: float) -> list[tuple[Point, Point]]:
    """Where a level cuts each triangle: a stretch from one side to another."""
    found = []
    above = corners[:, :, 2] > value
    for triangle in corners[above.any(axis=1) & ~above.all(axis=1)]:
        ends = []
        for one, other in ((0, 1), (1, 2), (2, 0)):
            a, b = triangle[one], triangle[other]
            if (a[2] > value) != (b[2] > value):
                part = (value - a[2]) / (b[2] - a[2])
                ends.append(
                    (float(a[0] + part * (b[0] - a[0])), float(a[1] + part * (b[1] - a[1])))
                )
        if len(ends) == 2:
            found.append((ends[0], ends[1]))
    return found


def _labels(
    sheet: Sheet, ends: Sequence[tuple[Point, Point]], others: Sequence[Point]
) -> list[Point]:
    """A few middles of stretches, far from each other and clear of what is written already."""
    found: list[Point] = []
    for a, b in ends:
        x, y = round((a[0] + b[0]) / 2, 1), round((a[1] + b[1]) / 2, 1)
        inside = MARGIN + 18 < x < WIDTH - MARGIN - 18 and MARGIN + 14 < y < sheet.bottom - 14
        apart = all(math.dist((x, y), other) > 280 for other in found)
        clear = all(abs(x - ox) > 44 or abs(y - oy) > 20 for ox, oy in others)
        if inside and apart and clear:
            found.append((x, y))
    return found[:3]


def fall(sheet: Sheet, area: Polygon, down: Point, text: str, ring: Worst) -> Fall:
    """An arrow inside an area the way it falls (``down``, on the plan), clear of a ring."""
    side = {"start": 20, "end": -20}.get(ring.anchor, 0)
    taken = [(ring.x, ring.y), (ring.at[0] + side, ring.at[1])]

    def clearance(spot: Point) -> float:
        own = (spot, (spot[0], spot[1] + 28))  # the words stand below the arrow
        return min(75.0, *(math.dist(a, b) for a in own for b in taken))

    x, y = max((sheet.at(*spot) for spot in _spots(area)), key=clearance)
    long = math.hypot(*down) or 1.0
    dx, dy = down[0] / long * _ARROW / 2, -down[1] / long * _ARROW / 2
    start, end = (round(x - dx, 1), round(y - dy, 1)), (round(x + dx, 1), round(y + dy, 1))
    ux, uy = dx * 2 / _ARROW, dy * 2 / _ARROW
    head = _svg(
        [
            (end[0] + ux * 8, end[1] + uy * 8),
            (end[0] - uy * 6, end[1] + ux * 6),
            (end[0] + uy * 6, end[1] - ux * 6),
        ]
    )
    return Fall(start, end, head, text, (round(x, 1), round(y + abs(dy) + 24, 1)))


def _spots(area: Polygon) -> list[Point]:
    """The middle of an area, and places a quarter of its size off it."""
    west, south, east, north = area.bounds
    x, y = area.centroid.coords[0]
    dx, dy = (east - west) / 4, (north - south) / 4
    spots = [(x, y), (x, y + dy), (x, y - dy), (x + dx, y), (x - dx, y)]
    return [spot for spot in spots if area.contains(shapely.Point(spot))] or [(x, y)]


def marks(
    sheet: Sheet, readings: Sequence[Sequence[float]], words: Callable[[float], str], unit: str
) -> tuple[Mark, ...]:
    """Every reading with its value in words; written beside it where there are few."""
    few = len(readings) <= MOST_WRITTEN
    drawn = []
    for x, y, value in readings:
        text = words(value)
        px, py = sheet.at(x, y)
        drawn.append(Mark(px, py, f"{text} {unit}", text if few else ""))
    return tuple(drawn)


def worst(sheet: Sheet, place: Point, text: str, bays: Sequence[BayShape]) -> Worst:
    """A ring at a place, with words right, left or below of it that keep off the bays' names."""
    x, y = sheet.at(*place)
    long = 9.0 * len(text)
    spots = [
        ("start", x + 11, y + 5, x + 11),
        ("end", x - 11, y + 5, x - 11 - long),
        ("middle", x, y + 23, x - long / 2),
        ("middle", x, y + 40, x - long / 2),
    ]
    chosen = next(
        (
            spot
            for spot in spots
            if spot[3] > 0
            and spot[3] + long < WIDTH
            and spot[2] < sheet.bottom
            and not any(_on_name(bay, spot[3], spot[3] + long, spot[2]) for bay in bays)
        ),
        spots[0],
    )
    return Worst(x, y, text, chosen[0], (round(chosen[1], 1), round(chosen[2], 1)))


def _on_name(bay: BayShape, left: float, right: float, y: float) -> bool:
    return left < bay.at[0] + 9.5 * len(bay.name) and bay.at[0] < right and abs(y - bay.at[1]) < 17


def _svg(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
