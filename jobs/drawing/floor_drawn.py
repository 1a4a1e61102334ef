"""The floor map laid out: drawing units, words in their places, ready for the template."""

from __future__ import annotations

from dataclasses import dataclass

from jobs.drawing.floor_labels import DrawnDimension, Label
from jobs.drawing.page import Box, Point, rounded, svg_points
from jobs.drawing.plane import Plane, ScaleBar


@dataclass(frozen=True)
class DrawnZone:
    points: str
    kind: str
    state: str
    title: str
    labels: tuple[Label, ...]
    clip: Box


@dataclass(frozen=True)
class DrawnVehicle:
    """The shape stands upright in its own frame and is turned by `turn_deg` about its middle."""

    title: str
    url: str
    proposed: bool
    clear_points: str
    middle: Point
    turn_deg: float
    length: float
    width: float
    labels: tuple[Label, ...]

    @property
    def body_x(self) -> float:
        return rounded(-self.length / 2)

    @property
    def body_y(self) -> float:
        return rounded(-self.width / 2)

    @property
    def corner(self) -> float:
        return rounded(self.width * 0.2)

    @property
    def glass(self) -> str:
        """Windscreen: across the body, 17 to 29 % of the length ahead of the middle."""
        back, front, half = self.length * 0.17, self.length * 0.29, self.width / 2
        return svg_points(
            [
                (back, -half * 0.72),
                (front, -half * 0.86),
                (front, half * 0.86),
                (back, half * 0.72),
            ]
        )

    @property
    def nose(self) -> str:
        """Arrowhead on the bonnet, pointing ahead."""
        tip, half = self.length * 0.46, self.width * 0.2
        return svg_points([(tip, 0), (tip - half * 1.1, -half), (tip - half * 1.1, half)])


@dataclass(frozen=True)
class DrawnDoor:
    start: Point
    end: Point
    label: Label | None


@dataclass(frozen=True)
class DrawnObstacle:
    points: str
    kind: str
    label: Label | None


@dataclass(frozen=True)
class DrawnMove:
    swept: str
    line: str
    title: str
    label: Label


@dataclass(frozen=True)
class DrawnPlaced:
    """Drawn in its own frame, which `transform` puts on the floor; a page moves it by that."""

    transform: str
    body: str
    parts: tuple[str, ...]
    glass: str
    nose: str
    label: str
    fits: bool
    handle_x: float  # the ring to turn it by


@dataclass(frozen=True)
class FloorLayout:
    id: str
    title: str
    says: str
    width: float
    height: float
    outline: str
    holes: tuple[str, ...]
    obstacles: tuple[DrawnObstacle, ...]
    doors: tuple[DrawnDoor, ...]
    zones: tuple[DrawnZone, ...]
    vehicles: tuple[DrawnVehicle, ...]
    dimensions: tuple[DrawnDimension, ...]
    moves: tuple[DrawnMove, ...]
    placed: DrawnPlaced | None
    axes: Point | None
    small: bool
    paper_mm: tuple[float, float] | None
    bar: ScaleBar
    bar_x: float
    bar_y: float
    key_says: str
    plane: Plane
