"""The floor as geometry: where a vehicle and the clear zone around it fit, and what that takes.

Pure: no Django. Lengths in millimetres, angles in degrees counter-clockwise from +x of the plan.
"""

from bays.floor.check import PoseReport, Shortfall, check_pose
from bays.floor.clearance import Region, feasible, needed_margin_mm, tolerant
from bays.floor.faults import ClearZoneFaults, PlanFault, PlanFaults, VehicleFaults
from bays.floor.headings import FitSearch, Search, search_fit, search_placements
from bays.floor.level import Level, LevelTolerance, level, level_figures, level_words
from bays.floor.light import (
    LUX_PER_FOOTCANDLE,
    Light,
    LightTolerance,
    light,
    light_figures,
    light_words,
)
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
    "LUX_PER_FOOTCANDLE",
    "X_DATUMS",
    "Y_DATUMS",
    "ZONE_KINDS",
    "Bay",
    "ClearZone",
    "ClearZoneFaults",
    "Door",
    "Fit",
    "FitSearch",
    "FloorPlan",
    "Level",
    "LevelTolerance",
    "Light",
    "LightTolerance",
    "Measure",
    "Obstacle",
    "Part",
    "Placement",
    "PlanFault",
    "PlanFaults",
    "Pose",
    "PoseReport",
    "RectPart",
    "Region",
    "Search",
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
    "level_figures",
    "level_words",
    "light",
    "light_figures",
    "light_words",
    "needed_margin_mm",
    "options",
    "placements",
    "resolve",
    "search_fit",
    "search_placements",
    "tolerant",
    "why_not",
]
