"""The set-out sheet: the vehicle from above, what is laid out around it, and in which order.

Vehicle frame in millimetres: origin on the ground under the middle of the rear axle, x ahead,
y to the left. The page shows the front upwards.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from django.utils.safestring import SafeString

from jobs.drawing.dimensions import (
    DimensionSpec,
    DrawnDimension,
    circled,
    draw_dimensions,
)
from jobs.drawing.page import Box, Point, render_drawing, rounded, svg_points, text_width
from jobs.drawing.plane import Extent, Plane, ScaleBar, Units, scale_bar

MARGIN, FOOT = 30.0, 34.0
LEAST_SIDE = 34.0
NAME_SIZE = 16.5


class ShapeKind(StrEnum):
    MAT = "mat"
    TARGET = "target"
    STAND = "stand"
    LINE = "line"
    MARK = "mark"
    KEEP_OUT = "keep out"


@dataclass(frozen=True)
class SetOutVehicle:
    """`track_outer_mm` is across the tyres, outer tread block to outer tread block."""

    width_mm: float
    wheelbase_mm: float
    front_overhang_mm: float
    rear_overhang_mm: float
    track_outer_mm: float
    tyre_width_mm: float = 225.0
    tyre_diameter_mm: float = 680.0


@dataclass(frozen=True)
class SetOutShape:
    """Two points make a line, more an area. `facing_deg` counts counter-clockwise from ahead."""

    kind: ShapeKind
    points: tuple[Point, ...]
    name: str = ""
    facing_deg: float | None = None


@dataclass(frozen=True)
class SetOutDimension:
    """One distance to measure or lay out; `shift_mm` moves its line clear of what it measures.

    Dimensions with the same order and text are drawn each, but worded once.
    """

    order: int
    from_point: Point
    to_point: Point
    text: str
    tolerance: str = ""
    says: str = ""
    shift_mm: Point = (0.0, 0.0)


@dataclass(frozen=True)
class SetOutSheet:
    title: str
    vehicle: SetOutVehicle
    shapes: tuple[SetOutShape, ...] = ()
    dimensions: tuple[SetOutDimension, ...] = ()
    done_orders: frozenset[int] = field(default_factory=frozenset)
    units: Units = "metric"
    width: float = 480.0
    tallest: float = 700.0
    id: str = "set-out"


@dataclass(frozen=True)
class DrawnShape:
    kind: str  # as a class: "keep-out"
    points: str
    area: bool
    name: str
    name_at: Point
    arrow: str


@dataclass(frozen=True)
class Step:
    mark: str
    text: str
    tolerance: str
    says: str
    done: bool


@dataclass(frozen=True)
class SetOutLayout:
    id: str
    title: str
    says: str
    left: float  # words beside the outermost lines may widen the page to either side
    width: float
    height: float
    body: Box
    corner: float
    glass: str
    tyres: tuple[Box, ...]
    centreline: tuple[Point, Point]
    front_at: Point
    shapes: tuple[DrawnShape, ...]
    dimensions: tuple[DrawnDimension, ...]
    steps: tuple[Step, ...]
    bar: ScaleBar
    bar_x: float
    bar_y: float
    plane: Plane


def page_point(point: Point) -> Point:
    """Vehicle frame to a frame with the front upwards and the vehicle's left on the left."""
    return (-point[1], point[0])


def lay_out_set_out(sheet: SetOutSheet) -> SetOutLayout:
    extent = Extent.around(page_point(point) for point in _all_points(sheet))
    scale = min(
        (sheet.width - 2 * LEAST_SIDE) / max(extent.width, 1),
        (sheet.tallest - MARGIN - FOOT) / max(extent.height, 1),
    )
    left = (sheet.width - extent.width * scale) / 2
    plane = Plane(extent, scale, left, MARGIN)
    height = rounded(MARGIN + extent.height * scale + FOOT)
    body = _box(plane, *_body_corners(sheet.vehicle))
    tyres = _tyres(sheet.vehicle, plane)
    low, high = extent.low_y, extent.high_y
    steps = _steps(sheet)
    dimensions = draw_dimensions(
        [_spec(dimension, sheet) for dimension in sheet.dimensions],
        plane,
        Box(-sheet.width / 2, 2, sheet.width * 2, height - FOOT),
        tyres,
    )
    edge_left, edge_right = _edges(sheet.width, dimensions)
    return SetOutLayout(
        id=sheet.id,
        title=sheet.title,
        says=" ".join(f"{step.mark} {step.text}." for step in steps) or "Nothing to measure.",
        left=edge_left,
        width=rounded(edge_right - edge_left),
        height=height,
        body=body,
        corner=rounded(body.width * 0.22),
        glass=_glass(body),
        tyres=tyres,
        centreline=(plane.at((0.0, high)), plane.at((0.0, low))),
        front_at=(rounded(body.x + body.width / 2), rounded(body.y + body.height * 0.58)),
        shapes=tuple(_shape(shape, plane) for shape in sheet.shapes),
        dimensions=dimensions,
        steps=steps,
        bar=scale_bar(scale, sheet.units, sheet.width * 0.25),
        bar_x=rounded(edge_left + 8),
        bar_y=rounded(height - 12),
        plane=plane,
    )


def draw_set_out(sheet: SetOutSheet) -> SafeString:
    return render_drawing("set_out", sheet=lay_out_set_out(sheet))


def _edges(width: float, dimensions: Sequence[DrawnDimension]) -> tuple[float, float]:
    labels = [dimension.label for dimension in dimensions]
    return (
        rounded(min([0.0, *(label.x - 4 for label in labels)])),
        rounded(max([width, *(label.x + label.width + 4 for label in labels)])),
    )


def _body_corners(vehicle: SetOutVehicle) -> tuple[Point, Point]:
    half = vehicle.width_mm / 2
    front = vehicle.wheelbase_mm + vehicle.front_overhang_mm
    return ((front, half), (-vehicle.rear_overhang_mm, -half))


def _all_points(sheet: SetOutSheet) -> list[Point]:
    points = list(_body_corners(sheet.vehicle))
    for shape in sheet.shapes:
        points.extend(shape.points)
    for dimension in sheet.dimensions:
        points.extend(_shifted(dimension))
    return points


def _shifted(dimension: SetOutDimension) -> tuple[Point, Point]:
    dx, dy = dimension.shift_mm
    (ax, ay), (bx, by) = dimension.from_point, dimension.to_point
    return ((ax + dx, ay + dy), (bx + dx, by + dy))


def _spec(dimension: SetOutDimension, sheet: SetOutSheet) -> DimensionSpec:
    twins = [d for d in sheet.dimensions if (d.order, d.text) == (dimension.order, dimension.text)]
    start, end = _shifted(dimension)
    return DimensionSpec(
        mark=circled(dimension.order),
        text=dimension.text if twins[0] is dimension else "",
        measured=(page_point(dimension.from_point), page_point(dimension.to_point)),
        drawn=(page_point(start), page_point(end)),
        done=dimension.order in sheet.done_orders,
    )


def _steps(sheet: SetOutSheet) -> tuple[Step, ...]:
    seen: dict[tuple[int, str], SetOutDimension] = {}
    for dimension in sorted(sheet.dimensions, key=lambda d: d.order):
        seen.setdefault((dimension.order, dimension.text), dimension)
    return tuple(
        Step(circled(d.order), d.text, d.tolerance, d.says, d.order in sheet.done_orders)
        for d in seen.values()
    )


def _box(plane: Plane, one: Point, other: Point) -> Box:
    (ax, ay), (bx, by) = plane.at(page_point(one)), plane.at(page_point(other))
    return Box(min(ax, bx), min(ay, by), rounded(abs(ax - bx)), rounded(abs(ay - by)))


def _tyres(vehicle: SetOutVehicle, plane: Plane) -> tuple[Box, ...]:
    outer, radius = vehicle.track_outer_mm / 2, vehicle.tyre_diameter_mm / 2
    inner = outer - vehicle.tyre_width_mm
    return tuple(
        _box(plane, (axle + radius, side * outer), (axle - radius, side * inner))
        for axle in (vehicle.wheelbase_mm, 0.0)
        for side in (1, -1)
    )


def _glass(body: Box) -> str:
    """Windscreen, 26 to 36 % of the length behind the nose: it shows which end is the front."""
    middle, half = body.x + body.width / 2, body.width / 2
    near, far = body.y + body.height * 0.26, body.y + body.height * 0.36
    return svg_points(
        [
            (middle - half * 0.86, near),
            (middle + half * 0.86, near),
            (middle + half * 0.72, far),
            (middle - half * 0.72, far),
        ]
    )


def _shape(shape: SetOutShape, plane: Plane) -> DrawnShape:
    points = plane.all([page_point(point) for point in shape.points])
    bounds = Extent.around(points)
    x, y = (bounds.low_x + bounds.high_x) / 2, (bounds.low_y + bounds.high_y) / 2
    # Long upright shapes such as mats are named at their end, so that a pair is named alike.
    upright = bounds.height > 2 * bounds.width
    fits = text_width(shape.name, NAME_SIZE) <= bounds.width - 4 and bounds.height >= 20
    inside = fits and not upright
    return DrawnShape(
        kind=str(shape.kind).replace(" ", "-"),
        points=svg_points(points),
        area=len(points) > 2,
        name=shape.name,
        name_at=(rounded(x), rounded(y + 5 if inside else bounds.low_y - 8)),
        arrow=_arrow(points, shape.facing_deg),
    )


def _arrow(points: Sequence[Point], facing_deg: float | None) -> str:
    """An arrowhead a little inside the end that faces `facing_deg`."""
    if facing_deg is None:
        return ""
    turn = math.radians(facing_deg)
    ahead = (-math.sin(turn), -math.cos(turn))
    bounds = Extent.around(points)
    middle = ((bounds.low_x + bounds.high_x) / 2, (bounds.low_y + bounds.high_y) / 2)
    reach = abs(ahead[0]) * bounds.width / 2 + abs(ahead[1]) * bounds.height / 2
    # Long shapes carry the arrow inside their leading end, thin ones in front of their face.
    tip = reach - 10 if reach > 24 else reach + 20
    base = tip - 15
    across = (-ahead[1], ahead[0])
    return svg_points(
        [
            (middle[0] + ahead[0] * tip, middle[1] + ahead[1] * tip),
            *(
                (
                    middle[0] + ahead[0] * base + across[0] * side,
                    middle[1] + ahead[1] * base + across[1] * side,
                )
                for side in (8, -8)
            ),
        ]
    )
