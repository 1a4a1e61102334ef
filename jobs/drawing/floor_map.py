"""The shop floor to scale: walls, obstacles, doors, zones, and the vehicles standing on it."""

import math

from django.utils.safestring import SafeString

from jobs.drawing.floor_drawn import (
    DrawnDoor,
    DrawnMove,
    DrawnObstacle,
    DrawnPlaced,
    DrawnVehicle,
    DrawnZone,
    FloorLayout,
)
from jobs.drawing.floor_labels import LABEL_SIZE, Label, label_box, place_dimensions
from jobs.drawing.floor_shapes import (
    FloorDoor,
    FloorMap,
    FloorMove,
    FloorObstacle,
    FloorPlaced,
    FloorVehicle,
    FloorZone,
)
from jobs.drawing.page import (
    Box,
    Point,
    first_that_fits,
    render_drawing,
    rounded,
    svg_points,
    text_width,
)
from jobs.drawing.plane import Extent, Plane, along, from_along, scale_bar

MARGIN, FOOT = 14.0, 40.0
LINE = 16.0
HANDLE = 22.0
SMALL = 500.0  # narrower maps leave out door names, margins and dimensions: the titles keep them
# A CSS pixel is 1/96 inch (W3C, CSS Values and Units 3, "absolute lengths").
PIXELS_PER_MM = 96 / 25.4
PAPER_MARGIN, PAPER_FOOT = 6.0, 36.0  # on paper: half the walls' stroke, and the scale bar


def lay_out_floor(floor: FloorMap) -> FloorLayout:
    """Place the plan at one scale; a tall plan is held to `tallest` and centred. With a `ratio`
    the drawing is as large as that makes it.

    Raises:
        ValueError: an outline without area.
    """
    extent = Extent.around(floor.outline)
    if extent.width <= 0 or extent.height <= 0:
        raise ValueError("the outline has no area")
    plane, width, height = _sheet(floor, extent)
    small = floor.ratio is None and floor.width < SMALL
    vehicles = tuple(_vehicle(vehicle, plane, brief=small) for vehicle in floor.vehicles)
    zones = tuple(_zone(zone, plane) for zone in floor.zones)
    bottom = plane.top + extent.height * plane.scale
    return FloorLayout(
        id=floor.id,
        title=floor.title,
        says=_summary(floor),
        width=width,
        height=height,
        outline=svg_points(plane.all(floor.outline)),
        holes=tuple(svg_points(plane.all(hole)) for hole in floor.holes),
        obstacles=tuple(_obstacle(one, plane, named=not small) for one in floor.obstacles),
        doors=tuple(_door(door, plane, named=not small) for door in floor.doors),
        zones=zones,
        vehicles=vehicles,
        dimensions=()
        if small
        else place_dimensions(
            floor.dimensions,
            plane,
            Box(2, 2, width - 4, bottom + 4),
            [*_vehicle_boxes(vehicles), *(label_box(la) for zone in zones for la in zone.labels)],
        ),
        moves=tuple(_move(move, plane) for move in floor.moves),
        placed=_placed(floor.placed, plane) if floor.placed else None,
        axes=plane.at((extent.low_x, extent.low_y)) if floor.axes else None,
        small=small,
        paper_mm=(rounded(width / PIXELS_PER_MM), rounded(height / PIXELS_PER_MM))
        if floor.ratio
        else None,
        bar=scale_bar(plane.scale, floor.units, width * 0.3),
        bar_x=rounded(plane.left),
        bar_y=rounded(bottom + 20),
        key_says="clear zones hatched" if any(v.clear_zone for v in floor.vehicles) else "",
        plane=plane,
    )


def paper_scale(ratio: float) -> float:
    """Drawing units for a millimetre of floor at 1:ratio."""
    return PIXELS_PER_MM / ratio


def _sheet(floor: FloorMap, extent: Extent) -> tuple[Plane, float, float]:
    """The plane with width and height of the page it is on."""
    if floor.ratio is not None:
        scale = paper_scale(floor.ratio)
        width = extent.width * scale + 2 * PAPER_MARGIN
        height = extent.height * scale + PAPER_MARGIN + PAPER_FOOT
        return Plane(extent, scale, PAPER_MARGIN, PAPER_MARGIN), width, height
    room = floor.width - 2 * MARGIN
    scale = min(room / extent.width, (floor.tallest - MARGIN - FOOT) / extent.height)
    plane = Plane(extent, scale, (floor.width - extent.width * scale) / 2, MARGIN)
    return plane, floor.width, rounded(MARGIN + extent.height * scale + FOOT)


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
    if zone.name and (zone.kind != "rest" or zone.state):
        x, y = _corner_inside(points, bounds)
        labels = _zone_labels(zone, x, y, bounds.high_x - x - 4)
    note = f", {zone.note}" if zone.note else ""
    clip = Box(bounds.low_x, bounds.low_y, rounded(bounds.width), rounded(bounds.height))
    return DrawnZone(svg_points(points), zone.kind, zone.state, f"{zone.name}{note}", labels, clip)


def _zone_labels(zone: FloorZone, x: float, y: float, room: float) -> tuple[Label, ...]:
    """The name with its note; the note below it where both do not fit on a line."""
    full = f"{zone.name} · {zone.note}" if zone.note else zone.name
    if text_width(full, LABEL_SIZE, bold=True) <= room or not zone.note:
        return (Label(x, y, full),)
    below = first_that_fits((zone.note, zone.brief), LABEL_SIZE, room, bold=True)
    name = Label(x, y, zone.name)
    return (name, Label(x, rounded(y + LINE), below)) if below else (name,)


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
    # A name that does not fit between the wheels stands beside the body instead of across it:
    # behind it, since most clear zones and what they are measured to lie ahead.
    wide = abs(math.cos(turn)) * length + abs(math.sin(turn)) * width
    fits = text_width(vehicle.reference, LABEL_SIZE, bold=True) <= wide * 0.9
    up = math.sin(turn) < -0.1
    outside = [middle[1] + (-1 if up else 1) * (reach + LINE * row) for row in (1, 2)]
    shift = 11 if up else 0  # above, the letters stand on the line; below, they hang from it
    labels = [
        Label(
            middle[0],
            rounded(middle[1] + 5 if fits else outside[0] + shift),
            vehicle.reference,
            "middle",
        )
    ]
    if vehicle.says and not brief:
        y = outside[0 if fits else 1] + shift
        labels.append(Label(middle[0], rounded(y), vehicle.says, "middle"))
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


def _vehicle_boxes(vehicles: tuple[DrawnVehicle, ...]) -> list[Box]:
    """What words must not cover: bodies, and the words that go with them."""
    boxes = [label_box(label) for vehicle in vehicles for label in vehicle.labels]
    for vehicle in vehicles:
        turn = math.radians(vehicle.turn_deg)
        cos, sin = abs(math.cos(turn)), abs(math.sin(turn))
        wide = cos * vehicle.length + sin * vehicle.width
        high = sin * vehicle.length + cos * vehicle.width
        x, y = vehicle.middle
        boxes.append(Box(x - wide / 2, y - high / 2, wide, high))
    return boxes


def _obstacle(obstacle: FloorObstacle, plane: Plane, *, named: bool) -> DrawnObstacle:
    points = plane.all(obstacle.polygon)
    bounds = Extent.around(points)
    kind = f"{obstacle.kind} {obstacle.name}".strip()
    if not (named and obstacle.name):
        return DrawnObstacle(svg_points(points), kind, None)
    x, y = (bounds.low_x + bounds.high_x) / 2, (bounds.low_y + bounds.high_y) / 2
    inside = text_width(obstacle.name, LABEL_SIZE) + 8 <= bounds.width and bounds.height > 24
    label = (
        Label(rounded(x), rounded(y + 5), obstacle.name, "middle")
        if inside
        else Label(rounded(bounds.high_x + 4), rounded(bounds.low_y - 3), obstacle.name)
    )
    return DrawnObstacle(svg_points(points), kind, label)


def _move(move: FloorMove, plane: Plane) -> DrawnMove:
    line = plane.all(move.line)
    x, y = line[len(line) // 2]
    label = Label(x, rounded(y - 8), move.reference, "middle")
    rings = [svg_points(plane.all(ring)) for ring in move.swept]
    swept = " ".join(f"M{ring}Z" for ring in rings)
    return DrawnMove(swept, svg_points(line), move.title, label)


def _placed(placed: FloorPlaced, plane: Plane) -> DrawnPlaced:
    """Vehicle frame to drawing units: y runs downwards, and the frame turns the other way."""

    def drawn(ring: tuple[Point, ...]) -> str:
        return svg_points([(x * plane.scale, -y * plane.scale) for x, y in ring])

    x, y, heading = placed.pose
    at = plane.at((x, y))
    body = Extent.around(placed.body)
    half, length = body.height / 2, body.width
    glass_at, nose_at = body.high_x - length * 0.33, body.high_x - length * 0.06
    glass = ((glass_at, half * 0.72), (glass_at + length * 0.12, half * 0.86))
    mirrored = tuple((gx, -gy) for gx, gy in reversed(glass))
    nose = ((nose_at, 0.0), (nose_at - half * 0.5, half * 0.4), (nose_at - half * 0.5, -half * 0.4))
    return DrawnPlaced(
        transform=f"translate({at[0]:g} {at[1]:g}) rotate({rounded(-heading):g})",
        body=drawn(placed.body),
        parts=tuple(drawn(ring) for ring in placed.parts),
        glass=drawn((*glass, *mirrored)),
        nose=drawn(nose),
        label=placed.label,
        fits=placed.fits,
        handle_x=rounded(body.high_x * plane.scale + HANDLE),
    )
