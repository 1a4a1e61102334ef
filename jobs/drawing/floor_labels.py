"""Words on the floor map, set where they cover no vehicle and no other word if there is such a
place."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from jobs.drawing.floor_shapes import FloorDimension
from jobs.drawing.page import Box, Point, rounded, text_width
from jobs.drawing.plane import Plane

LABEL_SIZE = 13.5
LABEL_HEIGHT = 17.0
BAR = 6.0  # half the length of the stroke that ends a dimension line
SLANT = math.sqrt(0.5)
# Below this the strokes would touch: the line is then drawn outside, pointing at the gap.
NARROW = 9.0
TAIL = 11.0


@dataclass(frozen=True)
class Label:
    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True)
class DrawnDimension:
    start: Point
    end: Point
    strokes: tuple[tuple[Point, Point], ...]
    short: bool
    body: bool
    label: Label


def place_dimensions(
    dimensions: Sequence[FloorDimension], plane: Plane, page: Box, taken: list[Box]
) -> tuple[DrawnDimension, ...]:
    """All lines, then each word at the first spot beside its line that covers least."""
    lines = [(plane.at(one.from_point), plane.at(one.to_point)) for one in dimensions]
    taken = [*taken, *(_around(start, end) for start, end in lines)]
    drawn = []
    for dimension, (start, end) in zip(dimensions, lines, strict=True):
        box = _best_spot(_spots(start, end, dimension.text), page, taken)
        taken.append(box)
        middle = (rounded(box.x + box.width / 2), rounded(box.y + 13))
        label = Label(*middle, dimension.text, "middle")
        strokes = _strokes(start, end)
        drawn.append(DrawnDimension(start, end, strokes, dimension.short, dimension.body, label))
    return tuple(drawn)


def label_box(label: Label, *, bold: bool = True) -> Box:
    width = text_width(label.text, LABEL_SIZE, bold=bold)
    left = {"start": 0.0, "middle": width / 2, "end": width}[label.anchor]
    return Box(label.x - left, label.y - 13, width, LABEL_HEIGHT)


def _strokes(start: Point, end: Point) -> tuple[tuple[Point, Point], ...]:
    """End strokes at 45 degrees, since what is measured to often runs square to the line; a narrow
    gap also gets a tail on either side."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    long = math.hypot(dx, dy)
    ux, uy = (dx / long, dy / long) if long else (1.0, 0.0)
    slanted = ((ux - uy) * BAR * SLANT, (uy + ux) * BAR * SLANT)
    bars = [_line(at, slanted, both=True) for at in (start, end)]
    if long >= NARROW:
        return tuple(bars)
    tails = [_line(start, (-ux * TAIL, -uy * TAIL)), _line(end, (ux * TAIL, uy * TAIL))]
    return (*bars, *tails)


def _line(at: Point, by: Point, *, both: bool = False) -> tuple[Point, Point]:
    back = -1.0 if both else 0.0
    return (
        (rounded(at[0] + back * by[0]), rounded(at[1] + back * by[1])),
        (rounded(at[0] + by[0]), rounded(at[1] + by[1])),
    )


def _around(start: Point, end: Point) -> Box:
    return Box(
        min(start[0], end[0]) - 3,
        min(start[1], end[1]) - 3,
        abs(start[0] - end[0]) + 6,
        abs(start[1] - end[1]) + 6,
    )


def _spots(start: Point, end: Point, text: str) -> list[Box]:
    """Beside the middle of the line, at its ends, a little farther off."""
    width = text_width(text, LABEL_SIZE, bold=True) + 4
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    half_x, half_y = abs(start[0] - end[0]) / 2, abs(start[1] - end[1]) / 2
    upright = half_y > half_x
    right, left = (x + half_x + 8, y - 8), (x - half_x - 8 - width, y - 8)
    above, below = (x - width / 2, y - half_y - 24), (x - width / 2, y + half_y + 8)
    first = [right, left, above, below] if upright else [above, below, right, left]
    shifted = [(px + sx, py + sy) for sx, sy in _SHIFTS for px, py in first]
    return [Box(rounded(px), rounded(py), width, LABEL_HEIGHT) for px, py in [*first, *shifted]]


_SHIFTS = (
    *((0, -20), (0, 20), (0, 34), (0, -34), (-26, 0), (26, 0), (-40, 0), (40, 0)),
    *((sx, sy) for sx in (26, -26, 40, -40) for sy in (-20, 20, -34, 34)),
)


def _best_spot(spots: Iterable[Box], page: Box, taken: Sequence[Box]) -> Box:
    return min(
        enumerate(spots),
        key=lambda entry: (
            not entry[1].inside(page),
            sum(entry[1].overlaps(box) for box in taken),
            entry[0],
        ),
    )[1]
