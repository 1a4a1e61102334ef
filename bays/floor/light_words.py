"""How well lit a floor is, as it is said to people: lux, or footcandles in US units."""

from __future__ import annotations

import math
from typing import Final

from bays.floor.level_words import as_read, left_out_words
from bays.floor.light_answer import (
    LUX_PER_FOOTCANDLE,
    Light,
    LightJudgement,
    LightTolerance,
    light_judgements,
)
from bays.floor.verdict import COVERAGE_FACTOR, Verdict, rounded_up, told_apart
from bays.floor.words import Units

# No light meter that a shop buys is better than this; common practice, no source.
FINEST_PERCENT: Final = 1.0


def light_words(found: Light, tolerance: LightTolerance, units: Units = "metric") -> str:
    """Say an answer with its figures: "The light is 310 lux at its darkest there (± 31 lux), at
    least 500 lux asked."."""
    said = _answer(found, tolerance, units)
    return said if found.left_out or found.least_lux is None else as_read(found.overdue_since, said)


def light_figures(found: Light, units: Units = "metric") -> str:
    """Say the figures themselves, whatever is asked; what is missing where there are none."""
    if found.left_out is not None or found.least_lux is None:
        return _answer(found, LightTolerance(None), units)
    assert found.most_lux is not None
    assert found.mean_lux is not None
    least, most = lux_words(found.least_lux, units), lux_words(found.most_lux, units)
    about = f"± {rounded_up(COVERAGE_FACTOR * found.uncertainty_percent, 0)} %"
    even = f", darkest by mean {found.uniformity:.2f}" if found.uniformity is not None else ""
    mean = lux_words(found.mean_lux, units)
    return f"{least} at its darkest, {most} at its brightest, {mean} on the mean ({about}){even}."


def lux_words(lux: float, units: Units, limit: float | None = None) -> str:
    """An illuminance; as many decimals as keep it on its own side of a limit."""
    if units == "us":
        limit = None if limit is None else limit / LUX_PER_FOOTCANDLE
        return f"{told_apart(lux / LUX_PER_FOOTCANDLE, limit, 1)} fc"
    return f"{told_apart(lux, limit, 0)} lux"


def _answer(found: Light, tolerance: LightTolerance, units: Units) -> str:
    if found.reason == "no_survey" or (found.reason == "too_few" and not found.places):
        return "Nobody has read the light there."
    if found.reason == "too_few":
        places = "1 place" if found.places == 1 else f"{found.places} places"
        return f"The light was read at only {places} there: three are the least."
    if found.reason == "line":
        return "The places where the light was read lie on one line."
    if found.left_out is not None:
        return left_out_words(found.left_out, "the light", units)
    worth: Verdict = "yes" if found.reason == "overdue" else found.verdict
    told = [row for row in light_judgements(found, tolerance) if row.verdict == worth]
    if not told:
        return "No limit is set for the light there."
    said = "The light " + ", and ".join(_figure(row, units) for row in told)
    if found.reason == "too_close":
        return f"{said}: too close to call. {_settles(found, told)}"
    return f"{said}."


def _figure(row: LightJudgement, units: Units) -> str:
    reach = COVERAGE_FACTOR * row.standard_uncertainty
    if row.name == "uniformity":
        about = f" (± {rounded_up(reach, 2)})" if reach > 0 else ""
        value = told_apart(row.value, row.limit, 2)
        return f"at its darkest is {value} of the mean there{about}, at least {row.limit:g} asked"
    about = f" (± {_reach(reach, units)})" if reach > 0 else ""
    value, limit = lux_words(row.value, units, row.limit), _limit(row.limit, units)
    if row.name == "least":
        return f"is {value} at its darkest there{about}, at least {limit} asked"
    return f"is {value} at its brightest there{about}, at most {limit} allowed"


def _limit(lux: float, units: Units) -> str:
    return lux_words(lux, units) if units == "us" else f"{lux:g} lux"


def _reach(lux: float, units: Units) -> str:
    if units == "us":
        return f"{rounded_up(lux / LUX_PER_FOOTCANDLE, 1)} fc"
    return f"{rounded_up(lux, 0)} lux"


def _settles(found: Light, close: list[LightJudgement]) -> str:
    clear = min(
        abs(row.limit - row.value) / (COVERAGE_FACTOR * row.standard_uncertainty) for row in close
    )
    needed = math.floor(clear * found.uncertainty_percent * 10) / 10
    if needed < FINEST_PERCENT:
        brighter = all(row.name == "most" for row in close)
        mend = "dim or shade a lamp" if brighter else "clean the lamps or add one"
        return f"It lies at the limit itself: {mend}, and read it again."
    now = f"now {found.uncertainty_percent:g} %"
    return f"A meter good to {needed:g} % ({now}) would settle it."
