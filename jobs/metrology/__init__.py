"""Readings as measurements: units, uncertainty, worksheets and verdicts. Imports no Django."""

from jobs.metrology.evaluation import METHOD, Results, Value, evaluate
from jobs.metrology.instruments import (
    Instrument,
    TapeClass,
    tape_maximum_permissible_error_mm,
)
from jobs.metrology.quantities import Quantity, ReadingRefused, parse_quantity, to_inside
from jobs.metrology.set_out import FilledStep, SetOutStep, fill
from jobs.metrology.verdict import (
    Check,
    DecisionRule,
    Verdict,
    conformance_probability,
    judge,
    tell_against_limits,
)
from jobs.metrology.wording import Units, format_quantity
from jobs.metrology.worksheet import Input, Worksheet, WorksheetFaults

__all__ = [
    "METHOD",
    "Check",
    "DecisionRule",
    "FilledStep",
    "Input",
    "Instrument",
    "Quantity",
    "ReadingRefused",
    "Results",
    "SetOutStep",
    "TapeClass",
    "Units",
    "Value",
    "Verdict",
    "Worksheet",
    "WorksheetFaults",
    "conformance_probability",
    "evaluate",
    "fill",
    "format_quantity",
    "judge",
    "parse_quantity",
    "tape_maximum_permissible_error_mm",
    "tell_against_limits",
    "to_inside",
]
