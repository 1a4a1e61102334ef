"""Answers a case with the functions the service asks; keys that do not apply are left out."""

from __future__ import annotations

import math
from typing import Any

from bays.floor.exchange.case import Case, DriveCase, FitCase
from bays.floor.exchange.fit import answer_fit
from bays.floor.exchange.survey import LevelCase
from bays.floor.level import LevelTolerance, level


def answer(case: Case) -> dict[str, Any]:
    if isinstance(case, FitCase):
        return answer_fit(case)
    if isinstance(case, DriveCase):
        # driving needs much that the other kinds do not
        from bays.floor.exchange.driving import answer_drive

        return answer_drive(case)
    return answer_level(case)


def answer_level(case: LevelCase) -> dict[str, Any]:
    """Without tolerances there is nothing to be eligible for, but "unknown" can still be said."""
    tolerance = case.tolerance or LevelTolerance(math.inf, math.inf)
    found = level(case.readings, case.polygon, case.heading_deg, tolerance)
    answer: dict[str, Any] = {}
    if case.tolerance or found.verdict == "unknown":
        answer["eligible"] = found.verdict
    figures = {
        "slope_pct": found.slope_percent,
        "along_pct": found.along_percent,
        "across_pct": found.across_percent,
        "max_dev_mm": found.max_deviation_mm,
    }
    answer |= {key: figure for key, figure in figures.items() if figure is not None}
    if found.worst_point is not None:
        answer["worst_point"] = [mm / 1000 for mm in found.worst_point]
    return answer
