"""How level a floor is, as it is said to people."""

from __future__ import annotations

import math
from datetime import date
from typing import Final

from bays.floor.coverage import Uncovered
from bays.floor.level_answer import Judgement, Level, LevelTolerance, judgements
from bays.floor.verdict import COVERAGE_FACTOR, Verdict, rounded_up, told_apart
from bays.floor.words import MM_PER_INCH, Units, listed

# More readings than this many times over, and nobody would take them.
MOST_TIMES: Final = 25


def level_words(found: Level, tolerance: LevelTolerance, units: Units = "metric") -> str:
    """Say an answer with its figures: "The floor slopes 1.40 % there (± 0.10 %), 1 % allowed."."""
    said = _answer(found, tolerance, units)
    # what was never read needs reading whatever the day
    return (
        said
        if found.left_out or found.slope_percent is None
        else as_read(found.overdue_since, said)
    )


def level_figures(found: Level, units: Units = "metric") -> str:
    """Say the figures themselves, whatever is allowed; what is missing where there are none."""
    if found.left_out is not None or found.slope_percent is None:
        return _answer(found, LevelTolerance(None, None), units)
    assert found.along_percent is not None
    assert found.across_percent is not None
    assert found.max_deviation_mm is not None
    slope = f"Slopes {found.slope_percent:.2f} %{_about(found.slope_uncertainty_percent)}"
    along = f"{abs(found.along_percent):.2f} % {_way(found.along_percent)} ahead"
    across = f"{abs(found.across_percent):.2f} % {_way(found.across_percent)} to the left"
    off = small_length(found.max_deviation_mm, units)
    about = _about_mm(COVERAGE_FACTOR * (found.deviation_uncertainty_mm or 0), units)
    return f"{slope}: {along}, {across}; at most {off}{about} off its plane."


def _about(standard_uncertainty: float | None) -> str:
    reach = COVERAGE_FACTOR * (standard_uncertainty or 0)
    return f" (± {rounded_up(reach, 2)} %)" if reach > 0 else ""


def _way(slope: float) -> str:
    return "down" if slope < 0 else "up"


def as_read(overdue_since: date | None, said: str) -> str:
    """What readings say, and that they are overdue where they are."""
    if overdue_since is None:
        return said
    then = said[0].lower() + said[1:]
    return f"The survey is overdue since {overdue_since:%Y-%m-%d}; as it was read, {then}"


def _answer(found: Level, tolerance: LevelTolerance, units: Units) -> str:
    if found.reason == "no_survey":
        return "Nobody has surveyed the floor there."
    if found.reason == "too_few":
        places = "1 place" if found.places == 1 else f"{found.places} places"
        return f"Only {places} in the zone were surveyed: a plane needs three, better nine."
    if found.reason == "line":
        return "The surveyed places lie on one line, which tells nothing about the slope across it."
    if found.left_out is not None:
        return left_out_words(found.left_out, "heights", units)
    rows = judgements(found, tolerance)
    worth: Verdict = "yes" if found.reason == "overdue" else found.verdict
    told = [row for row in rows if row.verdict == worth]
    if not told:
        return "No limit is set for the floor there."
    said = _joined([_figure(row, units) for row in told])
    if found.reason == "too_close":
        return f"The floor {said}: too close to call. {_settles(found, told, units)}"
    only = " Three places always lie on one plane." if found.places == 3 else ""
    return f"The floor {said}.{only}"


def place_words(place: tuple[float, float], units: Units) -> str:
    """A place on the plan: "x 12.40 m, y 3.10 m"."""
    unit, name = (12 * MM_PER_INCH, "ft") if units == "us" else (1000.0, "m")
    return f"x {place[0] / unit:.2f} {name}, y {place[1] / unit:.2f} {name}"


def small_length(mm: float, units: Units, limit_mm: float | None = None) -> str:
    """A height or a deviation; as many decimals as keep it on its own side of a limit."""
    if units == "us":
        limit = None if limit_mm is None else limit_mm / MM_PER_INCH
        return f"{told_apart(mm / MM_PER_INCH, limit, 2)} in"
    return f"{told_apart(mm, limit_mm, 1)} mm"


def left_out_words(part: Uncovered, read: str, units: Units) -> str:
    """What a survey leaves out of a zone, and where to read it."""
    share, where = f"{part.share_percent:.0f} %", place_words(part.middle, units)
    if part.gap_mm is None:
        return f"The survey leaves out {share} of the zone: read {read} about {where} too."
    far = f"{part.gap_mm / MM_PER_INCH:.0f} in" if units == "us" else f"{part.gap_mm:g} mm"
    return f"Readings are more than {far} away in {share} of the zone: read about {where} too."


def _joined(figures: list[str]) -> str:
    return (
        figures[0] if len(figures) == 1 else ", and ".join([", ".join(figures[:-1]), figures[-1]])
    )


def _figure(row: Judgement, units: Units) -> str:
    reach = COVERAGE_FACTOR * row.standard_uncertainty
    if row.name == "deviation":
        size = small_length(row.value, units, row.limit)
        allowed = small_length(row.limit, units) if units == "us" else f"{row.limit:g} mm"
        about = _about_mm(reach, units)
        return f"is {size} off its plane there{about}, {allowed} allowed"
    where = {"slope": "there", "along": "along the vehicle", "across": "across the vehicle"}
    size = told_apart(row.value, row.limit, 2)
    about = _about(row.standard_uncertainty)
    return f"slopes {size} % {where[row.name]}{about}, {row.limit:g} % allowed"


def _about_mm(reach_mm: float, units: Units) -> str:
    if reach_mm <= 0:
        return ""
    if units == "us":
        return f" (± {rounded_up(reach_mm / MM_PER_INCH, 2)} in)"
    return f" (± {rounded_up(reach_mm, 1)} mm)"


def _settles(found: Level, close: list[Judgement], units: Units) -> str:
    """What would bring the limit outside the expanded uncertainty, if the figures stay.

    Uncertainty falls with the instrument's own, and a slope's with the root of the number of
    readings.
    """
    clear = min(
        abs(row.limit - row.value) / (COVERAGE_FACTOR * row.standard_uncertainty) for row in close
    )
    needed_mm = math.floor(clear * found.reading_uncertainty_mm * 100) / 100
    ways = []
    if needed_mm > 0:
        now = f"now {_fine(found.reading_uncertainty_mm, units)}"
        ways.append(f"heights good to {_fine(needed_mm, units)} ({now})")
    times = math.ceil(1 / clear**2) if clear > 0 else MOST_TIMES + 1
    if times <= MOST_TIMES and all(row.name != "deviation" for row in close):
        ways.append(f"{times} times as many readings")
    if not ways:
        return "It lies at the limit itself: no reading would settle it; level the floor."
    return f"{listed(ways, 'or').capitalize()} would settle it."


def _fine(mm: float, units: Units) -> str:
    return f"{mm / MM_PER_INCH:.3f} in" if units == "us" else f"{mm:g} mm"
