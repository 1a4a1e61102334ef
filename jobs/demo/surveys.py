"""Invented surveys of the invented hall: heights on a grid of 1 m, light on one of 2 m."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

from shapely.geometry import Point, Polygon, box

# The hall without the two rooms; readings keep 0.4 m away from walls.
_HALL: Final = (
    Polygon([(0, 0), (40_000, 0), (40_000, 20_000), (0, 20_000)])
    .difference(box(35_400, 0, 40_000, 11_000))
    .difference(box(34_000, 14_600, 40_000, 20_000))
)
_BAY_7: Final = box(31_200, 0, 35_400, 11_000)
_BAYS_1_TO_5: Final = box(0, 0, 24_800, 14_600)
_FROM_WALL_MM: Final = 400


def floor_surveys() -> list[dict[str, Any]]:
    """The whole hall, and bay 7 once more."""
    return [
        {
            "days_ago": 200,
            "good_for_days": 365,
            "instrument": "Rotating laser RL-12 and staff, invented",
            "reading_uncertainty_mm": 0.5,
            "notes": "Doors shut, no vehicle on the floor.",
            "points": _heights(_HALL, 1000),
        },
        {
            "days_ago": 150,
            "good_for_days": 170,
            "instrument": "Rotating laser RL-12 and staff, invented",
            "reading_uncertainty_mm": 0.5,
            "notes": "Bay 7 again: it still falls to the east wall.",
            "points": _heights(_BAY_7, 800),
        },
    ]


def light_surveys() -> list[dict[str, Any]]:
    """The whole hall long ago, and bays 1 to 5 with the aisle before them under new lamps."""
    return [
        {
            "days_ago": 380,
            "good_for_days": 365,
            "instrument": "Light meter LM-3, invented",
            "reading_uncertainty_percent": 4,
            "conditions": "All lamps on, doors shut, after dark",
            "points": _light(_HALL, dim=0.93),
        },
        {
            "days_ago": 20,
            "good_for_days": 365,
            "instrument": "Light meter LM-3, invented",
            "reading_uncertainty_percent": 4,
            "conditions": "All lamps on, doors shut, after dark; new lamps over bays 1 to 5",
            "points": _light(_BAYS_1_TO_5, dim=1.0),
        },
    ]


def _heights(area: Any, step_mm: int) -> list[list[float]]:
    return [
        [x, y, round(_height_mm(x, y) + 0.8 * _chance(x, y), 1)] for x, y in _grid(area, step_mm)
    ]


def _light(area: Any, dim: float) -> list[list[float]]:
    return [
        [x, y, round(dim * _lux(x, y) * (1 + 0.03 * _chance(x, y)))] for x, y in _grid(area, 2000)
    ]


def _height_mm(x: float, y: float) -> float:
    """0.15 % down to the west wall, a worn place in bay 5, 0.7 % down to the east in bay 7."""
    height = 0.0015 * x + 0.0005 * y
    if y < 11_000:
        height -= 0.0085 * max(x - 31_200, 0)
    worn = math.hypot(x - 21_600, y - 5_000)
    return height - 8.0 * math.exp(-((worn / 900) ** 2))


def _lux(x: float, y: float) -> float:
    """Rows of lamps along the bays; weaker to the east."""
    row = 40 * math.cos(2 * math.pi * x / 4600)
    east = max(x - 24_800, 0) / 15_200
    return 720 + row - 260 * east - (90 if y > 14_600 else 0)


def _grid(area: Any, step_mm: int) -> Iterator[tuple[int, int]]:
    inner = area.buffer(-_FROM_WALL_MM + 1, join_style="mitre")
    west, south, east, north = (round(side) for side in inner.bounds)
    for x in _places(west, east, step_mm):
        for y in _places(south, north, step_mm):
            if inner.covers(Point(x, y)):
                yield x, y


def _places(low: int, high: int, step_mm: int) -> list[int]:
    """Evenly apart from edge to edge, at most ``step_mm``."""
    count = math.ceil((high - low) / step_mm)
    return [low + round(index * (high - low) / count) for index in range(count + 1)]


def _chance(x: float, y: float) -> float:
    """Scatter of a reading, -1 to 1, always the same at the same place."""
    turn = math.sin(x * 12.9898 + y * 78.233) * 43758.5453
    return 2 * (turn - math.floor(turn)) - 1
