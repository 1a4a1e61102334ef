"""What a floor map shows, as plain values: millimetres of the floor plan, words to be read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jobs.drawing.page import Point
from jobs.drawing.plane import Units

ZoneState = Literal["", "blocked", "closed", "taken", "crossed"]


@dataclass(frozen=True)
class FloorZone:
    id: str
    name: str
    kind: str  # bay, rack, aisle, rest; the remaining floor carries no name
    polygon: tuple[Point, ...]
    note: str = ""  # "empty", "closed until 14:00"
    brief: str = ""  # the same where there is little room: "closed"
    # blocked: held by a clear zone, but nobody stands there; crossed: held for a vehicle's way in
    # or out; taken: by the vehicle being placed
    state: ZoneState = ""


@dataclass(frozen=True)
class FloorObstacle:
    kind: str
    polygon: tuple[Point, ...]
    name: str = ""  # drawn beside it where there is room, such as "C4"


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
    """A measured distance on the floor; `short` marks room that is missing, `body` one that is
    measured from the vehicle itself rather than from its clear zone."""

    from_point: Point
    to_point: Point
    text: str
    short: bool = False
    body: bool = False


@dataclass(frozen=True)
class FloorMove:
    """A vehicle on its way: the floor it sweeps (rings; those inside others are floor left out) and
    the line of its rear axle."""

    reference: str
    swept: tuple[tuple[Point, ...], ...]
    line: tuple[Point, ...]
    title: str


@dataclass(frozen=True)
class FloorPlaced:
    """A vehicle being placed: rings of the vehicle frame, which a page can move as one."""

    pose: tuple[float, float, float]  # x and y in millimetres, heading in degrees
    body: tuple[Point, ...]
    parts: tuple[tuple[Point, ...], ...]
    label: str
    fits: bool


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
    moves: tuple[FloorMove, ...] = ()
    placed: FloorPlaced | None = None
    units: Units = "metric"
    width: float = 720.0
    tallest: float = 760.0
    id: str = "floor-map"
    ratio: float | None = None  # on paper, 1:ratio; drawing units are then CSS pixels of 1/96 in
    axes: bool = False  # marks the corner x and y are counted from
