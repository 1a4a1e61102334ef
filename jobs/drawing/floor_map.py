"""The shop floor to scale: walls, obstacles, doors, zones, and the vehicles standing on it."""

import math
from dataclasses import dataclass

from django.utils.safestring import SafeString

from jobs.drawing.page import (
    Box,
    Point,
    first_that_fits,
    render_drawing,
    rounded,
    svg_points,
    text_width,
)
from jobs.drawing.plane import Extent, Plane, ScaleBar, Units, along, from_along, scale_bar

MARGIN, FOOT = 14.0, 40.0
LABEL_SIZE = 13.5
LINE = 16.0
SMALL = 500.0  # narrower maps leave out door names, margins and dimensions: the titles keep them


@dataclass(frozen=True)
class FloorZone:
    id: str
    name: str
    kind: str  # bay, rack, aisle, rest; the remaining floor carries no name
    polygon: tuple[Point, ...]
    note: str = ""  # "empty", "closed until 14:00"


@dataclass(frozen=True)
class FloorObstacle:
    kind: str
    polygon: tuple[Point, ...]


@dataclass(frozen=True)
class FloorDoor:
    from_point: Point
    to_point: Point
    name: str = ""


@dataclass(frozen=True)
class FloorVehicle:
    """A vehicle where it stands: its body and clear zone on the floor, in millimetres.

    `says` is the dimension under it in shop units, such as "45 cm to spare".
    """

    reference: str
    body: tuple[Point, ...]
    heading_deg: float
    clear_zone: tuple[Point, ...] = ()
    says: str = ""
    label: str = ""
    url: str = ""
    proposed: bool = False


@dataclass(frozen=True)
class FloorDimension:
    """A measured distance on the floor; `short` marks room that is missing."""

    from_point: Point
    to_point: Point
    text: str
    short: bool = False


@dataclass(frozen=True)
class FloorMap:
    title: str
    outline: tuple[Point, ...]
    zones: tuple[FloorZone, ...] = ()
    holes: tuple[tuple[Point, ...], ...] = ()
    obstacles: tuple[FloorObstacle, ...] = ()
    doors: tuple[FloorDoor, ...] = ()
    vehicles: tuple[FloorVehicle, ...] = ()
    dimensions: tuple[FloorDimension, ...] = ()
    units: Units = "metric"
    width: float = 720.0
    tallest: float = 760.0
    id: str = "floor-map"


@dataclass(frozen=True)
class Label:
    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True)
class DrawnZone:
    points: str
    kind: str
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
class DrawnDimension:
    start: Point
    end: Point
    start_bar: tuple[Point, Point]
    end_bar: tuple[Point, Point]
    short: bool
    label: Label


@dataclass(frozen=True)
class FloorLayout:
    id: str
    title: str
    says: str
    width: float
    height: float
    outline: str
    holes: tuple[str, ...]
    obstacles: tuple[tuple[str, str], ...]
    doors: tuple[DrawnDoor, ...]
    zones: tuple[DrawnZone, ...]
    vehicles: tuple[DrawnVehicle, ...]
    dimensions: tuple[DrawnDimension, ...]
    small: bool
    bar: ScaleBar
    bar_x: float
    bar_y: float
    key_says: str
    plane: Plane


def lay_out_floor(floor: FloorMap) -> FloorLayout:
    """Place the plan at one scale; a tall plan is held to `tallest` and centred.

    Raises:
        ValueError: an outline without area.
    """
    extent = Extent.around(floor.outline)
    if extent.width <= 0 or extent.height <= 0:
        raise ValueError("the outline has no area")
    room = floor.width - 2 * MARGIN
    scale = min(room / extent.width, (floor.tallest - MARGIN - FOOT) / extent.height)
    plane = Plane(extent, scale, (floor.width - extent.width * scale) / 2, MARGIN)
    bottom = MARGIN + extent.height * scale
    small = floor.width < SMALL
    hatched = any(vehicle.clear_zone for vehicle in floor.vehicles)
    return FloorLayout(
        id=floor.id,
        title=floor.title,
        says=_summary(floor),
        width=floor.width,
        height=rounded(bottom + FOOT),
        outline=svg_points(plane.all(floor.outline)),
        holes=tuple(svg_points(plane.all(hole)) for hole in floor.holes),
        obstacles=tuple((svg_points(plane.all(o.polygon)), o.kind) for o in floor.obstacles),
        doors=tuple(_door(door, plane, named=not small) for door in floor.doors),
        zones=tuple(_zone(zone, plane) for zone in floor.zones),
        vehicles=tuple(_vehicle(vehicle, plane, brief=small) for vehicle in floor.vehicles),
        dimensions=tuple(
            _dimension(dimension, plane, floor.width)
            for dimension in (() if small else floor.dimensions)
        ),
        small=small,
        bar=scale_bar(scale, floor.units, floor.width * 0.3),
        bar_x=rounded(plane.left),
        bar_y=rounded(bottom + 20),
        key_says="clear zones hatched" if hatched else "",
        plane=plane,
    )


def draw_floor_map(floor: FloorMap) -> SafeString:
    return render_drawing("floor_map", floor=lay_out_floor(floor))


def _summary(floor: FloorMap) -> str:
    if not floor.vehicles:
        return "No vehicle on the floor."
    standing = ", ".join(vehicle.reference for vehicle in floor.vehicles)
    return f"{len(floor.vehicles)} on the floor: {standing}."


def _zone(zone: FloorZone, plane: Plane) -> DrawnZone:
    points = plane.all(zone.polygon)
    bounds = Extent.around(points)
    labels: tuple[Label, ...] = ()
    if zone.kind != "rest" and zone.name:
        x, y = _corner_inside(points, bounds)
        room = bounds.high_x - x - 4
        full = f"{zone.name} · {zone.note}" if zone.note else zone.name
        words = first_that_fits((full, zone.name), LABEL_SIZE, room) or zone.name
        labels = (Label(x, y, words),)
    note = f", {zone.note}" if zone.note else ""
    clip = Box(bounds.low_x, bounds.low_y, rounded(bounds.width), rounded(bounds.height))
    return DrawnZone(svg_points(points), zone.kind, f"{zone.name}{note}", labels, clip)


def _corner_inside(points: tuple[Point, ...], bounds: Extent) -> Point:
    """Where a name may start: top left of the bounds, or of the first corner that is inside."""
    corners = sorted(points, key=lambda point: (point[0] + point[1], point))
    for x, y in [(bounds.low_x, bounds.low_y), *corners]:
        if _contains(points, (x + 8, y + 10)):
            return (rounded(x + 7), rounded(y + 17))
    return (rounded(bounds.low_x + 7), rounded(bounds.low_y + 17))


def _contains(polygon: tuple[Point, ...], point: Point) -> bool:
    """Even-odd rule."""
    x, y = point
    inside = False
    for (ax, ay), (bx, by) in zip(polygon, (*polygon[1:], polygon[0]), strict=True):
        if (ay > y) != (by > y) and x < (bx - ax) * (y - ay) / (by - ay) + ax:
            inside = not inside
    return inside


def _vehicle(vehicle: FloorVehicle, plane: Plane, *, brief: bool) -> DrawnVehicle:
    seen = along(vehicle.body, vehicle.heading_deg)
    centre = ((seen.low_x + seen.high_x) / 2, (seen.low_y + seen.high_y) / 2)
    middle = plane.at(from_along(centre, vehicle.heading_deg))
    length, width = rounded(seen.width * plane.scale), rounded(seen.height * plane.scale)
    turn = math.radians(vehicle.heading_deg)
    # Half the height on the page of the turned body: the words below must clear it.
    reach = abs(math.sin(turn)) * length / 2 + abs(math.cos(turn)) * width / 2
    # A name that does not fit between the wheels stands beside the body instead of across it.
    wide = abs(math.cos(turn)) * length + abs(math.sin(turn)) * width
    below = reach + LINE
    fits = text_width(vehicle.reference, LABEL_SIZE, bold=True) <= wide * 0.9
    labels = [Label(middle[0], rounded(middle[1] + (5 if fits else below)), vehicle.reference)]
    if vehicle.says and not brief:
        y = middle[1] + below + (0 if fits else LINE)
        labels.append(Label(middle[0], rounded(y), vehicle.says))
    words = [word for word in (vehicle.reference, vehicle.label, vehicle.says) if word]
    return DrawnVehicle(
        title=", ".join(words),
        url=vehicle.url,
        proposed=vehicle.proposed,
        clear_points=svg_points(plane.all(vehicle.clear_zone)),
        middle=middle,
        turn_deg=rounded(-vehicle.heading_deg),
        length=length,
        width=width,
        labels=tuple(labels),
    )


def _door(door: FloorDoor, plane: Plane, *, named: bool) -> DrawnDoor:
    start, end = plane.at(door.from_point), plane.at(door.to_point)
    if not (door.name and named):
        return DrawnDoor(start, end, None)
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    upright = abs(start[1] - end[1]) > abs(start[0] - end[0])
    centre = plane.at(
        (
            (plane.extent.low_x + plane.extent.high_x) / 2,
            (plane.extent.low_y + plane.extent.high_y) / 2,
        )
    )
    if upright:
        left = x < centre[0]
        label = Label(rounded(x + (9 if left else -9)), rounded(y + 5), door.name)
        return DrawnDoor(start, end, Label(label.x, label.y, door.name, "start" if left else "end"))
    drop = 19 if y < centre[1] else -9
    return DrawnDoor(start, end, Label(rounded(x), rounded(y + drop), door.name, "middle"))


def _dimension(dimension: FloorDimension, plane: Plane, page_width: float) -> DrawnDimension:
    start, end = plane.at(dimension.from_point), plane.at(dimension.to_point)
    dx, dy = end[0] - start[0], end[1] - start[1]
    long = math.hypot(dx, dy) or 1.0
    nx, ny = -dy / long * 6, dx / long * 6
    upright = abs(dy) > abs(dx)
    x, y = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
    label = (
        Label(rounded(x + 9), rounded(y + 5), dimension.text)
        if upright
        else Label(_held(x, dimension.text, page_width), rounded(y - 8), dimension.text, "middle")
    )
    return DrawnDimension(
        start, end, _bar(start, nx, ny), _bar(end, nx, ny), dimension.short, label
    )


def _held(x: float, text: str, page_width: float) -> float:
    """The middle of a text near x that keeps it clear of the outer walls."""
    half = text_width(text, LABEL_SIZE, bold=True) / 2 + MARGIN + 6
    return rounded(min(max(x, half), page_width - half))


def _bar(point: Point, nx: float, ny: float) -> tuple[Point, Point]:
    x, y = point
    return ((rounded(x - nx), rounded(y - ny)), (rounded(x + nx), rounded(y + ny)))
