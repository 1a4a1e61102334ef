"""Keeping the readings of a form: only what changed, and every fault beside its field."""

from __future__ import annotations

from collections.abc import Iterator

from bays.models import EquipmentUnit
from jobs.models import Attempt, Calibration, Reading
from jobs.pages.work.worksheet import instrument_key
from jobs.selectors.procedures import content_of
from jobs.selectors.worksheets import standing_readings
from jobs.services.readings import record_reading, strike_reading
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import FieldError, Invalid

PREFIX = "reading-"


def keep_readings(request: MemberRequest, calibration: Calibration) -> None:
    """Record what is new, strike what was emptied; what is right is kept whatever is wrong.

    Raises:
        Invalid: some reading was refused; ``path`` is the name of its field.
    """
    faults: list[FieldError] = []
    standing = _standing(calibration)
    units = _units(request, calibration)
    for key, name, repeat in _fields(request):
        typed = request.POST.get(key, "").strip()
        unit = units.get(name)
        known = standing.get((name, repeat))
        try:
            _keep(request, calibration, (name, repeat), typed, unit, known)
        except Invalid as refused:
            faults += [FieldError(key, e.says, e.right) for e in refused.errors]
    if faults:
        title = "One reading was not taken in." if len(faults) == 1 else "Not every reading fits."
        raise Invalid("readings", title, errors=faults)


def _keep(
    request: MemberRequest,
    calibration: Calibration,
    which: tuple[str, int],
    typed: str,
    unit: EquipmentUnit | None,
    known: Reading | None,
) -> None:
    name, repeat = which
    if not typed:
        if known is not None:
            strike_reading(by=request.actor, reading=known)
        return
    # What was read before stays as it was read, whatever instrument is chosen now.
    if known is not None and known.typed == typed:
        return
    record_reading(
        by=request.actor,
        calibration=calibration,
        name=name,
        typed=typed,
        repeat=repeat,
        instrument=unit,
    )


def _fields(request: MemberRequest) -> Iterator[tuple[str, str, int]]:
    for key in request.POST:
        if not key.startswith(PREFIX):
            continue
        name, _, repeat = key.removeprefix(PREFIX).rpartition("-")
        if name and repeat.isascii() and repeat.isdigit() and len(repeat) < 3:
            yield key, name, int(repeat)


def _standing(calibration: Calibration) -> dict[tuple[str, int], Reading]:
    attempt = Attempt.objects.filter(calibration=calibration).order_by("-number").first()
    rows = standing_readings(attempt) if attempt else []
    return {(row.name, row.repeat): row for row in rows}


def _units(request: MemberRequest, calibration: Calibration) -> dict[str, EquipmentUnit]:
    """By input, the unit chosen for its type of instrument."""
    units: dict[str, EquipmentUnit] = {}
    for wanted in content_of(calibration.edition).worksheet.inputs:
        chosen = request.POST.get(instrument_key(wanted.instrument.equipment), "")
        if chosen.isascii() and chosen.isdigit() and len(chosen) < 19:
            own = EquipmentUnit.objects.for_shop(calibration.shop_id).filter(pk=int(chosen))
            unit = own.first()
            if unit is not None:
                units[wanted.name] = unit
    return units
