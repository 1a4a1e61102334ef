"""Vehicles and the clear zones around them.

Vehicle frame: origin on the ground under the middle of the rear axle, x ahead, y to the left,
millimetres. A clear zone is a union of rectangles and sectors whose edges are measured from parts
of the vehicle (datums), so one clear zone serves every vehicle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from shapely.geometry import Polygon

from bays.floor.faults import FARTHEST_MM, ClearZoneFaults, FaultList, VehicleFaults

X_DATUMS = ("rear_axle", "front_axle", "front", "rear")
Y_DATUMS = ("centreline", "left", "right", "left_tyre", "right_tyre")
LONGEST_VEHICLE_MM = 30_000
LONGEST_RANGE_MM = 100_000
MOST_PARTS = 20
# A chord lies outside its arc by at most this, so a sector is never drawn too small.
CHORD_EXCESS_MM = 2.0
WIDEST_CONVEX_WEDGE_DEG = 120.0
THINNEST_PART_MM = 1.0

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class VehicleShape:
    """A vehicle's outline on the ground, mirrors excluded unless ``width_mm`` includes them.

    ``tyre_track_outer_mm`` is the width across the outside of the tyres; without it the body's
    width is taken.

    Raises:
        VehicleFaults: a measurement no vehicle can have.
    """

    width_mm: float
    wheelbase_mm: float
    front_overhang_mm: float
    rear_overhang_mm: float
    tyre_track_outer_mm: float | None = None

    def __post_init__(self) -> None:
        faults = FaultList()
        for name in ("width_mm", "wheelbase_mm"):
            faults.number(getattr(self, name), name, lowest=100, highest=LONGEST_VEHICLE_MM)
        for name in ("front_overhang_mm", "rear_overhang_mm"):
            faults.number(getattr(self, name), name, lowest=0, highest=LONGEST_VEHICLE_MM)
        if self.tyre_track_outer_mm is not None:
            path = "tyre_track_outer_mm"
            faults.number(self.tyre_track_outer_mm, path, lowest=100, highest=LONGEST_VEHICLE_MM)
        if faults.errors:
            raise VehicleFaults(faults.errors)

    @property
    def length_mm(self) -> float:
        return self.rear_overhang_mm + self.wheelbase_mm + self.front_overhang_mm

    @property
    def body_ring(self) -> Points:
        rear, front = -self.rear_overhang_mm, self.wheelbase_mm + self.front_overhang_mm
        half = self.width_mm / 2
        return ((rear, -half), (front, -half), (front, half), (rear, half))

    def body(self) -> Polygon:
        """The body's outline in the vehicle frame."""
        return Polygon(self.body_ring)

    def datum_mm(self, name: str) -> float:
        """Where a datum lies on its axis of the vehicle frame."""
        half_body = self.width_mm / 2
        half_tyres = (self.tyre_track_outer_mm or self.width_mm) / 2
        return {
            "rear_axle": 0.0,
            "front_axle": float(self.wheelbase_mm),
            "front": float(self.wheelbase_mm + self.front_overhang_mm),
            "rear": -float(self.rear_overhang_mm),
            "centreline": 0.0,
            "left": half_body,
            "right": -half_body,
            "left_tyre": half_tyres,
            "right_tyre": -half_tyres,
        }[name]


@dataclass(frozen=True)
class Measure:
    """A place on one axis: a datum and an offset, ahead or to the left positive."""

    datum: str
    offset_mm: float = 0.0

    def at_mm(self, vehicle: VehicleShape) -> float:
        return vehicle.datum_mm(self.datum) + self.offset_mm


@dataclass(frozen=True)
class RectPart:
    from_x: Measure
    to_x: Measure
    from_y: Measure
    to_y: Measure


@dataclass(frozen=True)
class SectorPart:
    """A slice of a disc; ``bearing_deg`` is measured from straight ahead, left positive."""

    x: Measure
    y: Measure
    bearing_deg: float
    half_angle_deg: float
    range_mm: float


@dataclass(frozen=True)
class Part:
    """A convex piece of the floor a step needs, in the vehicle frame.

    ``needs_mm`` is the margin that must remain all round so that the vehicle may stand off its
    pose by the step's position and angle tolerances. The body itself is the part named "body".
    """

    name: str
    ring: Points
    needs_mm: float = 0.0

    @cached_property
    def polygon(self) -> Polygon:
        return Polygon(self.ring)


@dataclass(frozen=True)
class ClearZone:
    """The floor a step needs free around the vehicle, and how exactly the vehicle must stand."""

    parts: tuple[RectPart | SectorPart, ...]
    position_tolerance_mm: float = 0.0
    angle_tolerance_deg: float = 0.0

    @classmethod
    def from_content(cls, content: Mapping[str, Any]) -> ClearZone:
        """Read a clear zone; an empty list of parts means that the body alone must be clear.

        Raises:
            ClearZoneFaults: with every fault found and its path, such as ``parts[0].rect.from_x``.
        """
        faults = FaultList()
        tolerances = ("position_tolerance_mm", "angle_tolerance_deg")
        top = faults.keys(content, "", needed=("parts",), may=tolerances)
        if top is None:
            raise ClearZoneFaults(faults.errors)
        rows = faults.rows(top.get("parts", []), "parts", at_most=MOST_PARTS)
        parts = [_read_part(faults, row, f"parts[{i}]") for i, row in enumerate(rows)]
        position = faults.number(top.get(tolerances[0], 0), tolerances[0], lowest=0, highest=2000)
        angle = faults.number(top.get(tolerances[1], 0), tolerances[1], lowest=0, highest=20)
        if faults.errors:
            raise ClearZoneFaults(faults.errors)
        return cls(tuple(part for part in parts if part is not None), position or 0.0, angle or 0.0)


def resolve(clear_zone: ClearZone, vehicle: VehicleShape) -> tuple[Part, ...]:
    """The convex parts around this vehicle, its body first.

    Each part's ``needs_mm`` is position tolerance + arm x angle tolerance, the arm reaching from
    the rear axle to the farthest corner of all parts: a point at distance r moves by
    2 r sin(a/2) <= r a when the vehicle is turned by a.

    Raises:
        ClearZoneFaults: a rectangle is empty for this vehicle.
    """
    rings: list[tuple[str, Points]] = [("body", vehicle.body_ring)]
    faults = FaultList()
    for i, part in enumerate(clear_zone.parts):
        name = f"part {i + 1}"
        if isinstance(part, RectPart):
            rings.append((name, _rect_ring(faults, part, vehicle, f"parts[{i}].rect")))
        else:
            rings.extend((name, ring) for ring in _sector_rings(part, vehicle))
    if faults.errors:
        raise ClearZoneFaults(faults.errors)
    arm = max(math.hypot(x, y) for _, ring in rings for x, y in ring)
    needs = clear_zone.position_tolerance_mm + arm * math.radians(clear_zone.angle_tolerance_deg)
    return tuple(Part(name, ring, needs) for name, ring in rings)


def _read_part(faults: FaultList, value: object, path: str) -> RectPart | SectorPart | None:
    row = faults.keys(value, path, needed=(), may=("rect", "sector"))
    if row is None:
        return None
    if len(row) != 1:
        faults.note(path, f"has {len(row)} shapes", "one rect or one sector")
        return None
    if "rect" in row:
        return _read_rect(faults, row["rect"], f"{path}.rect")
    if "sector" in row:
        return _read_sector(faults, row["sector"], f"{path}.sector")
    return None


def _read_rect(faults: FaultList, value: object, path: str) -> RectPart | None:
    row = faults.keys(value, path, needed=("from_x", "to_x", "from_y", "to_y"))
    if row is None:
        return None
    from_x, to_x = (_read_measure(faults, row, k, path, X_DATUMS) for k in ("from_x", "to_x"))
    from_y, to_y = (_read_measure(faults, row, k, path, Y_DATUMS) for k in ("from_y", "to_y"))
    if from_x is None or to_x is None or from_y is None or to_y is None:
        return None
    return RectPart(from_x, to_x, from_y, to_y)


def _read_sector(faults: FaultList, value: object, path: str) -> SectorPart | None:
    numbers = {
        "bearing_deg": (-360.0, 360.0),
        "half_angle_deg": (0.1, 180.0),
        "range_mm": (1.0, LONGEST_RANGE_MM),
    }
    row = faults.keys(value, path, needed=("x", "y", *numbers))
    if row is None:
        return None
    x = _read_measure(faults, row, "x", path, X_DATUMS)
    y = _read_measure(faults, row, "y", path, Y_DATUMS)
    read = [
        faults.number(row[key], f"{path}.{key}", lowest=low, highest=high) if key in row else None
        for key, (low, high) in numbers.items()
    ]
    bearing, half_angle, reach = read
    if x is None or y is None or bearing is None or half_angle is None or reach is None:
        return None
    return SectorPart(x, y, bearing, half_angle, reach)


def _read_measure(
    faults: FaultList, row: Mapping[str, Any], key: str, path: str, datums: tuple[str, ...]
) -> Measure | None:
    if key not in row:
        return None
    here = f"{path}.{key}"
    value = faults.keys(row[key], here, needed=("datum",), may=("offset_mm",))
    if value is None or "datum" not in value:
        return None
    datum = faults.choice(value["datum"], f"{here}.datum", datums)
    offset = faults.number(
        value.get("offset_mm", 0), f"{here}.offset_mm", lowest=-FARTHEST_MM, highest=FARTHEST_MM
    )
    return None if datum is None or offset is None else Measure(datum, offset)


def _rect_ring(faults: FaultList, part: RectPart, vehicle: VehicleShape, path: str) -> Points:
    x0, x1 = part.from_x.at_mm(vehicle), part.to_x.at_mm(vehicle)
    y0, y1 = part.from_y.at_mm(vehicle), part.to_y.at_mm(vehicle)
    for axis, low, high in (("x", x0, x1), ("y", y0, y1)):
        if high - low < THINNEST_PART_MM:
            says = f"is empty for this vehicle: from_{axis} is {low:g} mm and to_{axis} {high:g} mm"
            faults.note(path, says, f"from_{axis} before to_{axis}")
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def _sector_rings(part: SectorPart, vehicle: VehicleShape) -> list[Points]:
    """Convex wedges that together contain the sector: every chord is a tangent of the arc."""
    apex = (part.x.at_mm(vehicle), part.y.at_mm(vehicle))
    wedges = math.ceil(2 * part.half_angle_deg / WIDEST_CONVEX_WEDGE_DEG)
    start = math.radians(part.bearing_deg - part.half_angle_deg)
    span = math.radians(2 * part.half_angle_deg) / wedges
    flat_enough = 2 * math.acos(part.range_mm / (part.range_mm + CHORD_EXCESS_MM))
    chords = max(math.ceil(span / flat_enough), 2)
    radius = part.range_mm / math.cos(span / chords / 2)
    rings: list[Points] = []
    for wedge in range(wedges):
        angles = [start + wedge * span + span * i / chords for i in range(chords + 1)]
        arc = [(apex[0] + radius * math.cos(a), apex[1] + radius * math.sin(a)) for a in angles]
        rings.append((apex, *arc))
    return rings
