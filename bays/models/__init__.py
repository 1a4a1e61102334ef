"""The physical world of a shop and its time, as stored."""

from bays.models.equipment import (
    EquipmentType,
    EquipmentUnit,
    UnitDowntime,
    UnitUse,
    UpkeepDone,
    UpkeepRule,
)
from bays.models.floor import (
    FloorAnswer,
    FloorDraft,
    FloorPlanEdition,
    FloorSurvey,
    LightSurvey,
)
from bays.models.hold import Hold, HoldReason, Resource, ResourceKind
from bays.models.people import (
    Absence,
    Closure,
    OpeningHours,
    ShiftPattern,
    Skill,
    Technician,
    TechnicianSkill,
)

__all__ = [
    "Absence",
    "Closure",
    "EquipmentType",
    "EquipmentUnit",
    "FloorAnswer",
    "FloorDraft",
    "FloorPlanEdition",
    "FloorSurvey",
    "Hold",
    "HoldReason",
    "LightSurvey",
    "OpeningHours",
    "Resource",
    "ResourceKind",
    "ShiftPattern",
    "Skill",
    "Technician",
    "TechnicianSkill",
    "UnitDowntime",
    "UnitUse",
    "UpkeepDone",
    "UpkeepRule",
]
