"""The floor as geometry: where a vehicle and the clear zone around it fit, and what that takes.

Pure: no Django. Lengths in millimetres, angles in degrees counter-clockwise from +x of the plan.
"""

from bays.floor.check import PoseReport, Shortfall, check_pose
from bays.floor.clearance import Region, feasible, needed_margin_mm, tolerant
from bays.floor.faults import ClearZoneFaults, PlanFaults, VehicleFaults
from bays.floor.level import Level, LevelTolerance, level
from bays.floor.placement import Fit, Placement, Pose, best_fit, options, placements
from bays.floor.plan import ZONE_KINDS, Bay, Door, FloorPlan, Obstacle, Zone, ZoneId
from bays.floor.reasons import WhyNot, why_not
from bays.floor.shapes import (
    X_DATUMS,
    Y_DATUMS,
    ClearZone,
    Measure,
    Part,
    RectPart,
    SectorPart,
    VehicleShape,
    resolve,
)

__all__ = [
    "X_DATUMS",
    "Y_DATUMS",
    "ZONE_KINDS",
    "Bay",
    "ClearZone",
    "ClearZoneFaults",
    "Door",
    "Fit",
    "FloorPlan",
    "Level",
    "LevelTolerance",
    "Measure",
    "Obstacle",
    "Part",
    "Placement",
    "PlanFaults",
    "Pose",
    "PoseReport",
    "RectPart",
    "Region",
    "SectorPart",
    "Shortfall",
    "VehicleFaults",
    "VehicleShape",
    "WhyNot",
    "Zone",
    "ZoneId",
    "best_fit",
    "check_pose",
    "feasible",
    "level",
    "needed_margin_mm",
    "options",
    "placements",
    "resolve",
    "tolerant",
    "why_not",
]
