"""Keeping the readings of a form: only what changed, and every fault beside its field."""

from __future__ import annotations

from collections.abc import Iterator

from bays.models import EquipmentUnit
from jobs.models import Attempt, Calibration, Reading
from jobs.pages.work.worksheet import instrument_key
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
    for key, name, repeat in _fields(request):
        typed = request.POST.get(key, "").strip()
        unit = _unit(request, calibration, name)
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
    if known is not None and known.typed == typed and _same_unit(known, unit):
        return
    record_reading(
        by=request.actor,
        calibration=calibration,
        name=name,
        typed=typed,
        repeat=repeat,
        instrument=unit,
    )


def _same_unit(known: Reading, unit: EquipmentUnit | None) -> bool:
    return unit is None or known.instrument_id == unit.pk


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


def _unit(request: MemberRequest, calibration: Calibration, name: str) -> EquipmentUnit | None:
    chosen = request.POST.get(instrument_key(name), "")
    if not (chosen.isascii() and chosen.isdigit() and len(chosen) < 19):
        return None
    return EquipmentUnit.objects.for_shop(calibration.shop_id).filter(pk=int(chosen)).first()
