"""From millimetres to drawing units, at one scale for both directions."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from jobs.drawing.page import Point, rounded

Units = Literal["metric", "us"]
FOOT_MM = 304.8  # exact: international foot, 1959


@dataclass(frozen=True)
class Extent:
    """Upright bounds of points, in the frame they came in."""

    low_x: float
    low_y: float
    high_x: float
    high_y: float

    @classmethod
    def around(cls, points: Iterable[Point]) -> "Extent":
        found = list(points)
        if not found:
            raise ValueError("nothing to draw")
        xs, ys = [x for x, _ in found], [y for _, y in found]
        return cls(min(xs), min(ys), max(xs), max(ys))

    @property
    def width(self) -> float:
        return self.high_x - self.low_x

    @property
    def height(self) -> float:
        return self.high_y - self.low_y


@dataclass(frozen=True)
class Plane:
    """Maps a frame with y upwards onto the page, whose y runs downwards."""

    extent: Extent
    scale: float  # drawing units per millimetre
    left: float
    top: float

    def at(self, point: Point) -> Point:
        return (
            rounded(self.left + (point[0] - self.extent.low_x) * self.scale),
            rounded(self.top + (self.extent.high_y - point[1]) * self.scale),
        )

    def all(self, points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple(self.at(point) for point in points)


@dataclass(frozen=True)
class ScaleBar:
    width: float
    label: str


def scale_bar(scale: float, units: Units, longest: float) -> ScaleBar:
    """The longest round length that fits into `longest` drawing units."""
    if units == "us":
        lengths = [(feet * FOOT_MM, f"{feet} ft") for feet in (1, 2, 5, 10, 20, 50, 100)]
    else:
        lengths = [
            (metres * 1000.0, f"{metres:g} m") for metres in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50)
        ]
    fitting = [entry for entry in lengths if entry[0] * scale <= longest] or lengths[:1]
    length_mm, label = fitting[-1]
    return ScaleBar(rounded(length_mm * scale), label)


def along(points: Sequence[Point], heading_deg: float) -> Extent:
    """Bounds of points seen along a heading: x ahead, y to the left."""
    turn = math.radians(heading_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    return Extent.around((x * cos + y * sin, -x * sin + y * cos) for x, y in points)


def from_along(point: Point, heading_deg: float) -> Point:
    """Back from the frame of `along` to the floor."""
    turn = math.radians(heading_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    return (point[0] * cos - point[1] * sin, point[0] * sin + point[1] * cos)
