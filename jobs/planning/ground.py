"""Is the floor under a clear zone level and lit as a procedure asks? By the shop's surveys."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from bays import floor
from bays.floor.verdict import Verdict, together
from bays.selectors.surveys import LevelThere, LightThere, Surveys, level_there, light_there
from jobs.procedures import FloorTolerance, LightRequirement, ProcedureContent


class Ground(NamedTuple):
    """What the surveys say of one clear zone; None where the procedure asks for nothing."""

    level: LevelThere | None
    light: LightThere | None

    @property
    def verdict(self) -> Verdict:
        """One no is no; without a no, one unknown is unknown."""
        return together(
            there.found.verdict for there in (self.level, self.light) if there is not None
        )

    @property
    def usable(self) -> bool:
        """False only where a survey proves the floor there unfit; unknown floor may be used."""
        return self.verdict != "no"


def ground_of(
    surveys: Surveys,
    polygon: Sequence[Sequence[float]],
    heading_deg: float,
    content: ProcedureContent,
) -> Ground:
    """Judge the floor of a clear zone (its outline on the plan) by what a procedure asks."""
    return Ground(
        level=None
        if content.floor is None
        else level_there(surveys, polygon, heading_deg, level_tolerance(content.floor)),
        light=None
        if content.light is None
        else light_there(surveys, polygon, light_tolerance(content.light)),
    )


def level_tolerance(asked: FloorTolerance) -> floor.LevelTolerance:
    """What a procedure asks of the floor's level, as the floor understands it."""
    return floor.LevelTolerance(asked.slope_percent, asked.deviation_mm)


def light_tolerance(asked: LightRequirement) -> floor.LightTolerance:
    """What a procedure asks of the light, as the floor understands it."""
    return floor.LightTolerance(asked.min_lux, asked.max_lux, asked.uniformity)


def stored_ground(ground: Ground) -> dict[str, Any]:
    """What is kept with a step: the surveys it was judged by, the verdicts, unrounded figures."""
    kept: dict[str, Any] = {}
    if ground.level is not None:
        level, heights = ground.level
        kept["level"] = {
            "survey": heights.pk if heights else None,
            "verdict": level.verdict,
            "reason": level.reason,
            "slope_percent": level.slope_percent,
            "slope_uncertainty_percent": level.slope_uncertainty_percent,
            "deviation_mm": level.max_deviation_mm,
            "deviation_uncertainty_mm": level.deviation_uncertainty_mm,
        }
    if ground.light is not None:
        light, read = ground.light
        kept["light"] = {
            "survey": read.pk if read else None,
            "verdict": light.verdict,
            "reason": light.reason,
            "least_lux": light.least_lux,
            "most_lux": light.most_lux,
            "uncertainty_percent": light.uncertainty_percent,
        }
    return kept
