"""Reads a level case: readings, the zone on the floor, heading and tolerances."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from shapely.geometry import Polygon

from bays.floor.exchange.metres import MetreFaults, shown
from bays.floor.level import LevelTolerance

MOST_READINGS = 100_000
GATHERED = ("tolerances", "tolerance", "limits")
NEEDED = ("survey_xyz_m", "zone_polygon", "heading_deg")


@dataclass(frozen=True)
class LevelCase:
    """``tolerance`` is ``None`` when the case gives none: then only figures are asked for."""

    readings: tuple[tuple[float, float, float], ...]
    polygon: Polygon
    heading_deg: float
    tolerance: LevelTolerance | None


def read_level(faults: MetreFaults, case: Mapping[str, Any]) -> LevelCase | None:
    faults.mapping(case, "", needed=NEEDED)
    readings = _readings(faults, case.get("survey_xyz_m"), "survey_xyz_m")
    polygon = heading = None
    if "zone_polygon" in case:
        polygon = faults.ring(case["zone_polygon"], "zone_polygon")
    if "heading_deg" in case:
        heading = faults.degrees(case["heading_deg"], "heading_deg")
    tolerance = _tolerance(faults, case)
    if polygon is None or heading is None or faults.errors:
        return None
    return LevelCase(readings, polygon, heading, tolerance)


def _readings(
    faults: MetreFaults, value: object, path: str
) -> tuple[tuple[float, float, float], ...]:
    found: list[tuple[float, float, float]] = []
    for i, row in enumerate(faults.list_of(value, path, at_most=MOST_READINGS)):
        if not isinstance(row, list) or len(row) != 3:
            faults.note(f"{path}[{i}]", f"is {shown(row)}", "a reading [x, y, height] in metres")
            continue
        x, y, z = (faults.measure(entry, f"{path}[{i}][{k}]") for k, entry in enumerate(row))
        if x is not None and y is not None and z is not None:
            found.append((x, y, z))
    return tuple(found)


def _tolerance(faults: MetreFaults, case: Mapping[str, Any]) -> LevelTolerance | None:
    """The allowed slope (``..._pct``, ``..._deg``) and deviation (``..._mm``, ``..._m``), in an
    object ``tolerances`` or beside the readings; what is not given is not judged."""
    slope = deviation = math.inf
    for path, key, value in _limits(faults, case):
        limit = faults.number(value, path, lowest=0)
        if limit is None:
            continue
        if "along" in key or "across" in key:
            faults.note(path, "is not known here", "the slope as a whole, in whichever direction")
        elif key.endswith("_deg"):
            slope = min(slope, 100 * math.tan(math.radians(min(limit, 89.0))))
        elif key.endswith(("_mm", "_m")):
            deviation = min(deviation, limit * (1 if key.endswith("_mm") else 1000))
        elif key.endswith(("_pct", "_percent")) or "slope" in key:
            slope = min(slope, limit)
        elif "dev" in key or "flat" in key:
            deviation = min(deviation, limit)
        else:
            faults.note(path, "is not known here", "a slope in _pct or a deviation in _mm")
    if math.isinf(slope) and math.isinf(deviation):
        return None
    return LevelTolerance(slope_percent=slope, deviation_mm=deviation)


def _limits(faults: MetreFaults, case: Mapping[str, Any]) -> Iterator[tuple[str, str, Any]]:
    """Every tolerance given, with its path and its key."""
    for name in GATHERED:
        group = faults.mapping(case[name], name) if case.get(name) is not None else None
        if group is not None:
            yield from ((f"{name}.{key}", key, value) for key, value in group.items())
    for key, value in case.items():
        if key.endswith(("_pct", "_percent", "_mm")):
            yield key, key, value
