"""Answers a case of the kind "drive"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bays.floor.drive import Drive, Impossible, drive_between, drive_forward
from bays.floor.exchange.case import DriveCase
from bays.floor.motion import PathPose


def answer_drive(case: DriveCase) -> dict[str, Any]:
    """Where reversing is not needed the path told is one without it."""
    asked = (case.plan, case.vehicle, case.min_radius_mm, case.start, case.goal, case.occupied)
    found = drive_between(*asked)
    if not isinstance(found, Drive):
        said = "impossible" if isinstance(found, Impossible) else "not found"
        return {"drivable": said, "reversing_needed": None}
    needed: bool | None = False
    if not _forward_only(found.path):
        onward, needed = drive_forward(*asked)
        found = onward or found
    path = [[at.x_mm / 1000, at.y_mm / 1000, at.heading_deg, at.direction] for at in found.path]
    return {"drivable": "yes", "reversing_needed": needed, "path": path}


def _forward_only(path: Sequence[PathPose]) -> bool:
    return all(at.direction > 0 for at in path)
