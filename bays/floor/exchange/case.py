"""Reads a case of any kind, from a file or from content already loaded."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bays.floor.exchange.clear_zone import read_parts, read_vehicle
from bays.floor.exchange.floor import read_floor, read_occupied
from bays.floor.exchange.metres import CaseFaults, MetreFaults
from bays.floor.exchange.survey import LevelCase, read_level
from bays.floor.placement import Pose
from bays.floor.plan import FloorPlan, ZoneId
from bays.floor.shapes import Part, VehicleShape
from shopcal.errors import FieldError

KINDS = ("fit", "drive", "level")
MOST_HEADINGS = 720
# Keys that may be left out, and change the answer when they are.
MAY = ("occupied", "headings_deg", "pose_fixed")
START = ("start_pose", "start_pose_deg")
GOAL = ("goal_pose_deg", "goal_pose")
# The circle of the middle of the rear axle; larger than any vehicle's, in metres.
WIDEST_TURN_M = 100.0


@dataclass(frozen=True, eq=False)
class FitCase:
    """``headings`` are those allowed, by the names the case gives them; ``None``: any heading.
    ``pose`` is where the vehicle stands if it may not be moved."""

    plan: FloorPlan
    parts: tuple[Part, ...]
    occupied: frozenset[ZoneId]
    headings: Mapping[str, float] | None
    pose: Pose | None


@dataclass(frozen=True, eq=False)
class DriveCase:
    plan: FloorPlan
    vehicle: VehicleShape
    occupied: frozenset[ZoneId]
    min_radius_mm: float
    start: Pose
    goal: Pose


Case = FitCase | DriveCase | LevelCase


def load(path: Path) -> Case:
    """Read a case file.

    Raises:
        CaseFaults: the file is missing or not JSON, or the case has faults.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise _unreadable(path, error.strerror or "cannot be read") from error
    except UnicodeDecodeError as error:
        raise _unreadable(path, f"is not UTF-8 text (byte {error.start})") from error
    try:
        content = json.loads(text, parse_constant=_no_number, object_pairs_hook=_once_each)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise _unreadable(path, f"is not JSON: {error.msg} at {where}") from error
    except RecursionError as error:
        raise _unreadable(path, "is not JSON that can be read: nested too deeply") from error
    except ValueError as error:
        raise _unreadable(path, f"is not JSON: {error}") from error
    return read_case(content)


def read_case(content: object) -> Case:
    """Read a case as loaded from JSON.

    Raises:
        CaseFaults: with every fault found and its path, such as ``procedure.parts[0].x0``.
    """
    faults = MetreFaults()
    case = faults.mapping(content, "", needed=("kind",))
    if case is None or "kind" not in case:
        raise CaseFaults(faults.errors)
    kind = faults.choice(case["kind"], "kind", KINDS)
    readers = {"fit": _read_fit, "drive": _read_drive, "level": read_level}
    read = readers[kind](faults, case) if kind else None
    if read is None or faults.errors:
        raise CaseFaults(faults.errors)
    return read


def _read_fit(faults: MetreFaults, case: Mapping[str, Any]) -> FitCase | None:
    faults.mapping(case, "", needed=("vehicle", "floor", "procedure"), may=MAY)
    plan, occupied = _read_floor(faults, case)
    vehicle = read_vehicle(faults, case["vehicle"]) if "vehicle" in case else None
    parts: tuple[Part, ...] = ()
    if "procedure" in case:
        parts = read_parts(faults, case["procedure"], vehicle)
    headings = _read_headings(faults, case.get("headings_deg"), "headings_deg")
    pose = None
    if case.get("pose_fixed") is not None:
        pose = faults.pose(case["pose_fixed"], "pose_fixed")
        _check_heading(faults, pose, headings)
    if plan is None or not parts or faults.errors:
        return None
    return FitCase(plan, parts, occupied, headings, pose)


def _read_drive(faults: MetreFaults, case: Mapping[str, Any]) -> DriveCase | None:
    faults.mapping(case, "", needed=("vehicle", "floor", "rear_axle_min_radius_m"), may=MAY[:1])
    plan, occupied = _read_floor(faults, case)
    vehicle = read_vehicle(faults, case["vehicle"]) if "vehicle" in case else None
    radius, key = None, "rear_axle_min_radius_m"
    if key in case:
        radius = faults.measure(case[key], key, lowest=0, highest=WIDEST_TURN_M)
    start, goal = (_read_end(faults, case, names) for names in (START, GOAL))
    if plan is None or vehicle is None or radius is None or start is None or goal is None:
        return None
    return DriveCase(plan, vehicle, occupied, radius, start, goal)


def _read_floor(
    faults: MetreFaults, case: Mapping[str, Any]
) -> tuple[FloorPlan | None, frozenset[ZoneId]]:
    plan = read_floor(faults, case["floor"]) if "floor" in case else None
    return plan, read_occupied(faults, case.get("occupied"), plan)


def _read_end(faults: MetreFaults, case: Mapping[str, Any], names: Sequence[str]) -> Pose | None:
    key = next((name for name in names if name in case), None)
    if key is None:
        faults.note(names[0], "is missing")
        return None
    return faults.pose(case[key], key)


def _read_headings(faults: MetreFaults, value: object, path: str) -> Mapping[str, float] | None:
    if value is None:
        return None
    rows = faults.rows(value, path, at_most=MOST_HEADINGS)
    if value == []:
        faults.note(path, "is empty", "at least one heading, or no such key for any heading")
    found: dict[str, float] = {}
    for i, entry in enumerate(rows):
        heading = faults.degrees(entry, f"{path}[{i}]")
        if heading is not None:
            found[str(entry)] = heading
    return found


def _check_heading(
    faults: MetreFaults, pose: Pose | None, headings: Mapping[str, float] | None
) -> None:
    if pose is None or not headings:
        return
    off = min(abs((pose.heading_deg - h + 180) % 360 - 180) for h in headings.values())
    if off > 1e-6:
        right = "one of headings_deg: " + ", ".join(headings)
        faults.note("pose_fixed[2]", f"is {pose.heading_deg:g}", right)


def _unreadable(path: Path, says: str) -> CaseFaults:
    return CaseFaults([FieldError(str(path), says)])


def _no_number(token: str) -> None:
    raise ValueError(f"{token} is not a number")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A key given twice would silently lose its first value."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the key {twice!r} is given twice in one object")
    return found
