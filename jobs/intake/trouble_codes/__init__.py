"""Trouble codes: their form, lists of them as typed or exported, and pre against post."""

from jobs.intake.trouble_codes.compare import Comparison, compare
from jobs.intake.trouble_codes.files import parse_csv, parse_json
from jobs.intake.trouble_codes.form import CodeRefused, TroubleCode, from_bytes, parse
from jobs.intake.trouble_codes.pattern import check_pattern, is_blocking
from jobs.intake.trouble_codes.scan import STATUSES, LineError, ScanEntry, ScanParse
from jobs.intake.trouble_codes.typed import parse_list

__all__ = [
    "STATUSES",
    "CodeRefused",
    "Comparison",
    "LineError",
    "ScanEntry",
    "ScanParse",
    "TroubleCode",
    "check_pattern",
    "compare",
    "from_bytes",
    "is_blocking",
    "parse",
    "parse_csv",
    "parse_json",
    "parse_list",
]
