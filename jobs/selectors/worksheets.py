"""The readings of an attempt, evaluated with the instruments they were really taken with."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from jobs.metrology import (
    Input,
    Instrument,
    Quantity,
    Results,
    TapeClass,
    Units,
    Worksheet,
    evaluate,
    to_inside,
)
from jobs.models import Attempt, Reading
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of
from shopcal.accounts.models import Shop


def units_of(shop: Shop) -> Units:
    """What people of this shop read and type."""
    return "us" if shop.units == "us" else "metric"


def worksheet_results(attempt: Attempt) -> Results:
    """The worksheet as it stands: unrounded values, verdicts, what is missing.

    Each input is judged with the accuracy class and resolution of the unit it was read from;
    where the unit states none, with those the edition asks for.
    """
    content = content_of(attempt.calibration.edition)
    return results_of(content, standing_readings(attempt), units_of(attempt.shop))


def results_of(content: ProcedureContent, readings: Sequence[Reading], units: Units) -> Results:
    """The worksheet of an edition on these standing readings."""
    by_name: dict[str, list[Quantity]] = {}
    for reading in sorted(readings, key=lambda r: (r.name, r.repeat)):
        by_name.setdefault(reading.name, []).append(Quantity(reading.value, reading.unit))
    return evaluate(
        content.worksheet, by_name, instruments_used(content.worksheet, readings), units=units
    )


def standing_readings(attempt: Attempt) -> list[Reading]:
    """Readings that were not struck out, with the unit each was read from."""
    rows = attempt.readings.filter(struck_at__isnull=True).select_related("instrument")
    return list(rows.order_by("name", "repeat"))


def instruments_used(worksheet: Worksheet, readings: Sequence[Reading]) -> dict[str, Instrument]:
    """Per input the instrument used; of several the one that may be furthest out."""
    inputs = {wanted.name: wanted for wanted in worksheet.inputs}
    used: dict[str, Instrument] = {}
    for reading in readings:
        wanted = inputs.get(reading.name)
        if wanted is None or reading.instrument is None:
            continue
        found = _instrument(wanted, reading)
        known = used.get(reading.name)
        if known is None or _worse(found, known, reading.value):
            used[reading.name] = found
    return used


def _instrument(wanted: Input, reading: Reading) -> Instrument:
    unit = reading.instrument
    if unit is None or to_inside(0.0, wanted.unit).unit != "mm":
        return wanted.instrument
    asked = wanted.instrument
    return replace(
        asked,
        name=unit.name,
        tape_class=TapeClass(unit.accuracy_class) if unit.accuracy_class else asked.tape_class,
        resolution=unit.resolution_mm if unit.resolution_mm else asked.resolution,
    )


def _worse(one: Instrument, other: Instrument, value: float) -> bool:
    return one.standard_uncertainty(value) > other.standard_uncertainty(value)
