"""Procedure editions: what service information asks for, as the shop wrote it. No Django."""

from jobs.procedures.codes import WORK_CODES
from jobs.procedures.content import (
    FloorTolerance,
    LightRequirement,
    Precondition,
    ProcedureContent,
    ProcedureFaults,
    Question,
    content_digest,
    limits_in_words,
)
from jobs.procedures.loading import load_yaml, read_folder, read_procedure, read_set
from jobs.procedures.schema import SCHEMA

__all__ = [
    "SCHEMA",
    "WORK_CODES",
    "FloorTolerance",
    "LightRequirement",
    "Precondition",
    "ProcedureContent",
    "ProcedureFaults",
    "Question",
    "content_digest",
    "limits_in_words",
    "load_yaml",
    "read_folder",
    "read_procedure",
    "read_set",
]
