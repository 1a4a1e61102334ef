"""Dimension lines with their order, and words set where they cover nothing else."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.drawing.page import Box, Point, rounded, text_width
from jobs.drawing.plane import Plane

TEXT_SIZE, MARK_SIZE = 18.5, 23.0
TEXT_HEIGHT = 25.0
BAR = 7.0  # half the length of the stroke that ends a dimension line


@dataclass(frozen=True)
class DimensionSpec:
    """A dimension in a frame with y upwards: what is measured, and where its line is drawn."""

    mark: str
    text: str  # empty when a twin already says it
    measured: tuple[Point, Point]
    drawn: tuple[Point, Point]
    done: bool = False


@dataclass(frozen=True)
class DrawnDimension:
    start: Point
    end: Point
    strokes: tuple[tuple[Point, Point], ...]  # end strokes
    leaders: tuple[tuple[Point, Point], ...]  # from what is measured to its line
    label: Box
    mark: str
    text: str
    done: bool

    @property
    def text_y(self) -> float:
        return rounded(self.label.y + 19)


def circled(order: int) -> str:
    """① to ⑳, then plain numbers in brackets."""
    return chr(0x2460 + order - 1) if 1 <= order <= 20 else f"({order})"


def draw_dimensions(
    specs: Sequence[DimensionSpec], plane: Plane, page: Box, solids: Sequence[Box]
) -> tuple[DrawnDimension, ...]:
    """Place all lines first, then each label at the first spot that covers nothing."""
    lines = [plane.all(spec.drawn) for spec in specs]
    taken = [*solids, *(_line_box(start, end) for start, end in lines)]
    drawn = []
    for spec, (start, end) in zip(specs, lines, strict=True):
        label = _label_spot(spec, start, end, page, taken)
        taken.append(label)
        nx, ny = _across(start, end)
        strokes = tuple(
            ((rounded(x - nx), rounded(y - ny)), (rounded(x + nx), rounded(y + ny)))
            for x, y in (start, end)
        )
        measured = plane.all(spec.measured)
        leaders = tuple((at, to) for at, to in zip(measured, (start, end), strict=True) if at != to)
        drawn.append(
            DrawnDimension(start, end, strokes, leaders, label, spec.mark, spec.text, spec.done)
        )
    return tuple(drawn)


def label_width(text: str) -> float:
    """Room for the order mark and the words after it."""
    return MARK_SIZE + (text_width(text, TEXT_SIZE, bold=True) + 5 if text else 0)


def _across(start: Point, end: Point) -> Point:
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy)
    return (-dy / length * BAR, dx / length * BAR) if length else (0.0, BAR)


def _line_box(start: Point, end: Point) -> Box:
    return Box(
        min(start[0], end[0]) - 2,
        min(start[1], end[1]) - 2,
        abs(start[0] - end[0]) + 4,
        abs(start[1] - end[1]) + 4,
    )


def _label_spot(
    spec: DimensionSpec, start: Point, end: Point, page: Box, taken: Sequence[Box]
) -> Box:
    spots = _spots(start, end, label_width(spec.text))
    return min(
        enumerate(spots),
        key=lambda entry: (
            not entry[1].inside(page),
            sum(entry[1].overlaps(box) for box in taken),
            entry[0],
        ),
    )[1]


def _spots(start: Point, end: Point, width: float) -> list[Box]:
    """Upright lines are worded beside, level ones below; then the other sides, then the ends."""
    (ax, ay), (bx, by) = sorted((start, end))
    x, y = (ax + bx) / 2, (ay + by) / 2
    right = max(ax, bx) + 9
    left = min(ax, bx) - 9 - width
    low, high = max(ay, by) + 9, min(ay, by) - 9 - TEXT_HEIGHT
    level = y - TEXT_HEIGHT / 2
    middle = x - width / 2
    beside = [(right, level), (left, level)]
    stacked = [(middle, low), (middle, high)]
    upright = abs(ay - by) > abs(ax - bx)
    corners = [(right, low), (left, low), (right, high), (left, high)]
    farther = [(right + 18, level), (left - 18, level), (middle, low + 18), (middle, high - 18)]
    nearest = [*beside, *stacked] if upright else [*stacked, *beside]
    order = [*nearest, *corners, *farther]
    return [Box(rounded(px), rounded(py), rounded(width), TEXT_HEIGHT) for px, py in order]
