"""The allowed moves of visits and calibrations, and the guards that must be met."""

from jobs.lifecycle.calibration import (
    CALIBRATION_GUARDS,
    CALIBRATION_TABLE,
    CalibrationAct,
    CalibrationFacts,
    CalibrationState,
    calibration_acts,
    calibration_move,
    calibration_unmet,
)
from jobs.lifecycle.moves import Guard, MoveRefused, Row, Unmet
from jobs.lifecycle.visit import (
    VISIT_GUARDS,
    VISIT_TABLE,
    VisitAct,
    VisitFacts,
    VisitState,
    visit_acts,
    visit_move,
    visit_unmet,
)

__all__ = [
    "CALIBRATION_GUARDS",
    "CALIBRATION_TABLE",
    "VISIT_GUARDS",
    "VISIT_TABLE",
    "CalibrationAct",
    "CalibrationFacts",
    "CalibrationState",
    "Guard",
    "MoveRefused",
    "Row",
    "Unmet",
    "VisitAct",
    "VisitFacts",
    "VisitState",
    "calibration_acts",
    "calibration_move",
    "calibration_unmet",
    "visit_acts",
    "visit_move",
    "visit_unmet",
]
