"""What happens to a vehicle, as stored."""

from jobs.models.calibration import Answer, Attempt, AttemptUnit, Calibration, Override
from jobs.models.procedure import Procedure, ProcedureEdition
from jobs.models.proposal import Proposal
from jobs.models.reading import Reading
from jobs.models.scan import Scan, ScanCode
from jobs.models.study import Study
from jobs.models.vehicle import Vehicle, VehicleModel
from jobs.models.visit import Step, Visit

__all__ = [
    "Answer",
    "Attempt",
    "AttemptUnit",
    "Calibration",
    "Override",
    "Procedure",
    "ProcedureEdition",
    "Proposal",
    "Reading",
    "Scan",
    "ScanCode",
    "Step",
    "Study",
    "Vehicle",
    "VehicleModel",
    "Visit",
]
