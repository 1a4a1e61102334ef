"""Reads the vehicle of a case and the clear zone around it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from bays.floor.exchange.metres import FARTHEST_M, MetreFaults, shown
from bays.floor.shapes import (
    LONGEST_RANGE_MM,
    LONGEST_VEHICLE_MM,
    THINNEST_PART_MM,
    X_DATUMS,
    ClearZone,
    Measure,
    Part,
    RectPart,
    SectorPart,
    VehicleShape,
    resolve,
)

Y_DATUMS = ("centreline", "left", "right")
MOST_PARTS = 100
# A length given beside its own three parts must agree with their sum.
LENGTH_AGREES_MM = 10.0
# Names a sector's apex and range may go by.
APEX_X = ("x", "apex_x", "x0")
APEX_Y = ("y", "apex_y", "y0")
RANGE = ("range", "range_m")
REMARKS = ("name", "id", "shape", "title", "why", "note", "kind")
RECT_KEYS = ("x0", "x1", "y0", "y1")
SECTOR_KEYS = ("apex", *APEX_X, *APEX_Y, *RANGE, "bearing_deg", "half_angle_deg")


def read_vehicle(faults: MetreFaults, value: object, path: str = "vehicle") -> VehicleShape | None:
    most = LONGEST_VEHICLE_MM / 1000
    least = {"width": 0.1, "wheelbase": 0.1, "front_overhang": 0.0, "rear_overhang": 0.0}
    row = faults.mapping(value, path, needed=tuple(least))
    if row is None:
        return None
    sizes = [
        faults.measure(row[key], f"{path}.{key}", lowest=lowest, highest=most)
        for key, lowest in least.items()
        if key in row
    ]
    given = [size for size in sizes if size is not None]
    if len(given) < len(least):
        return None
    vehicle = VehicleShape(*given)
    if row.get("length") is not None:
        length = faults.measure(row["length"], f"{path}.length")
        if length is not None and abs(length - vehicle.length_mm) > LENGTH_AGREES_MM:
            right = f"{vehicle.length_mm / 1000:g}, as overhangs and wheelbase make it"
            faults.note(f"{path}.length", f"is {length / 1000:g}", right)
    return vehicle


def read_parts(
    faults: MetreFaults, value: object, vehicle: VehicleShape | None, path: str = "procedure"
) -> tuple[Part, ...]:
    """The body first, then the parts around this vehicle; empty when there are faults."""
    row = faults.mapping(value, path, needed=("parts",))
    given = row.get("parts", []) if row else []
    rows = faults.rows(given, f"{path}.parts", at_most=MOST_PARTS)
    read: list[RectPart | SectorPart] = []
    for i, entry in enumerate(rows):
        part = _read_part(faults, entry, f"{path}.parts[{i}]", vehicle)
        if part is not None:
            read.append(part)
    if faults.errors or vehicle is None:
        return ()
    return resolve(ClearZone(tuple(read)), vehicle)


def _read_part(
    faults: MetreFaults, value: object, path: str, vehicle: VehicleShape | None
) -> RectPart | SectorPart | None:
    row = faults.mapping(value, path, needed=("shape",))
    if row is None or "shape" not in row:
        return None
    shape = faults.choice(row["shape"], f"{path}.shape", ("rect", "sector"))
    if shape is None:
        return None
    known = RECT_KEYS if shape == "rect" else SECTOR_KEYS
    for key in row:
        # here a key left alone could leave out floor that must be clear
        if key not in known and key not in REMARKS:
            faults.note(f"{path}.{key}", "is not known here", "one of " + ", ".join(known))
    return (_read_rect if shape == "rect" else _read_sector)(faults, row, path, vehicle)


def _read_rect(
    faults: MetreFaults, row: Mapping[str, Any], path: str, vehicle: VehicleShape | None
) -> RectPart | None:
    found: list[Measure] = []
    for key in RECT_KEYS:
        if key not in row:
            faults.note(f"{path}.{key}", "is missing")
            continue
        datums = X_DATUMS if key[0] == "x" else Y_DATUMS
        measure = _read_measure(faults, row[key], f"{path}.{key}", datums)
        if measure is not None:
            found.append(measure)
    if len(found) < len(RECT_KEYS):
        return None
    if vehicle is not None:
        _check_span(faults, found, vehicle, path)
    return RectPart(*found)


def _check_span(
    faults: MetreFaults, found: Sequence[Measure], vehicle: VehicleShape, path: str
) -> None:
    x0, x1, y0, y1 = (measure.at_mm(vehicle) for measure in found)
    for axis, low, high in (("x", x0, x1), ("y", y0, y1)):
        if high - low < THINNEST_PART_MM:
            says = f"is at {high / 1000:g} m on this vehicle, {axis}0 at {low / 1000:g} m"
            faults.note(f"{path}.{axis}1", says, f"{axis}0 before {axis}1")


def _read_sector(
    faults: MetreFaults, row: Mapping[str, Any], path: str, vehicle: VehicleShape | None
) -> SectorPart | None:
    x, y = _read_apex(faults, row, path)
    bearing = half_angle = reach = None
    for key in ("bearing_deg", "half_angle_deg"):
        if key not in row:
            faults.note(f"{path}.{key}", "is missing")
    if "bearing_deg" in row:
        bearing = faults.degrees(row["bearing_deg"], f"{path}.bearing_deg")
    if "half_angle_deg" in row:
        here = f"{path}.half_angle_deg"
        half_angle = faults.number(row["half_angle_deg"], here, lowest=0.01, highest=180)
    key = _first(row, RANGE)
    if key in row:
        most = LONGEST_RANGE_MM / 1000
        reach = faults.measure(row[key], f"{path}.{key}", lowest=0.001, highest=most)
    else:
        faults.note(f"{path}.{key}", "is missing")
    if x is None or y is None or bearing is None or half_angle is None or reach is None:
        return None
    return SectorPart(x, y, bearing, half_angle, reach)


def _read_apex(
    faults: MetreFaults, row: Mapping[str, Any], path: str
) -> tuple[Measure | None, Measure | None]:
    """``apex`` with a place along and, unless on the centreline, one across; or ``x`` and ``y``."""
    if "apex" in row:
        along, across = _split_apex(row["apex"])
        here = f"{path}.apex"
        return (
            _read_measure(faults, along, here, X_DATUMS),
            _read_measure(faults, across, here, Y_DATUMS),
        )
    along_key, across_key = _first(row, APEX_X), _first(row, APEX_Y)
    if along_key not in row:
        faults.note(f"{path}.apex", "is missing", "[datum, offset] along the vehicle")
        return None, None
    across = row.get(across_key, ["centreline", 0])
    return (
        _read_measure(faults, row[along_key], f"{path}.{along_key}", X_DATUMS),
        _read_measure(faults, across, f"{path}.{across_key}", Y_DATUMS),
    )


def _split_apex(value: Any) -> tuple[Any, Any]:
    """``[along, across]``, ``{"x": along, "y": across}`` or a place along, on the centreline."""
    middle = ["centreline", 0]
    if isinstance(value, Mapping) and "x" in value:
        return value["x"], value.get("y", middle)
    if isinstance(value, list) and len(value) == 2 and not isinstance(value[0], str):
        return value[0], value[1]
    if isinstance(value, list) and len(value) == 4:
        return value[:2], value[2:]
    return value, middle


def _first(row: Mapping[str, Any], names: Sequence[str]) -> str:
    return next((name for name in names if name in row), names[0])


def _read_measure(
    faults: MetreFaults, value: object, path: str, datums: Sequence[str]
) -> Measure | None:
    pair = tuple(_datum_and_offset(value))
    if len(pair) != 2:
        faults.note(path, f"is {shown(value)}", "[datum, offset in metres]")
        return None
    datum = faults.choice(pair[0], path, datums)
    offset = faults.measure(pair[1], f"{path}[1]", lowest=-FARTHEST_M, highest=FARTHEST_M)
    return None if datum is None or offset is None else Measure(datum, offset)


def _datum_and_offset(value: object) -> Iterator[Any]:
    if isinstance(value, list):
        yield from value
    elif isinstance(value, Mapping):
        yield value.get("datum")
        yield value.get("offset", 0)
