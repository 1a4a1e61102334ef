"""Readings of a worksheet: taken in as typed, with their instrument; struck out, never erased."""

from __future__ import annotations

from typing import Any

from django.utils import timezone

from bays.models import EquipmentUnit
from jobs.metrology import Input, Quantity, ReadingRefused, evaluate, parse_quantity
from jobs.models import Attempt, Calibration, Reading
from jobs.procedures import ProcedureContent
from jobs.selectors.procedures import content_of
from jobs.selectors.worksheets import units_of
from jobs.services.answers import not_now, void_before_run
from jobs.services.calibrations import taken_up
from jobs.services.equipment_used import take_into_use
from jobs.services.rows import one_transaction, open_attempt, told_calibration
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound

TYPED_LENGTH = 60
_STATES = ("preparing", "set_out")


@one_transaction
def record_reading(
    *,
    by: Actor,
    calibration: Calibration,
    name: str,
    typed: str,
    repeat: int = 1,
    instrument: EquipmentUnit | None = None,
    version: int | None = None,
) -> Reading:
    """Take in a reading as typed (``193 cm``, ``6 ft 4``); a bare number is in the input's unit.

    A reading of the same repeat that stands is struck out and stays for the record. The unit it
    was read from counts as used; where none is named, the one of that type already in use is it.

    Raises:
        NotAllowed, NotFound, Stale.
        Invalid: ``reading``: no such input, not a quantity of this kind, or one that cannot be
            right; or the instrument is of another type, or none is named.
        Conflict: ``not_now``, ``not_in_work``, ``out_of_service``.
    """
    require(by, Action.RECORD_READING)
    found = taken_up(by, calibration, version)
    if found.state not in _STATES:
        raise not_now(found, "Readings belong before the run.")
    wanted = _input(content_of(found.edition), name, repeat)
    quantity = _quantity(found, wanted, typed)
    attempt = open_attempt(found)
    unit = _instrument(by, found, attempt, wanted, instrument)
    before = _strike_standing(attempt, name, repeat)
    reading = Reading.objects.create(
        shop_id=by.shop_id,
        attempt=attempt,
        name=name,
        repeat=repeat,
        typed=typed.strip(),
        value=quantity.value,
        unit=quantity.unit,
        instrument=unit,
        read_at=timezone.now(),
        read_by=by.name,
    )
    void_before_run(found)
    after = _facts(reading)
    told_calibration(by, found, "calibration.read", before, attempt=attempt.number, **after)
    return reading


@one_transaction
def strike_reading(*, by: Actor, reading: Reading, version: int | None = None) -> Reading:
    """Strike a reading out; it stays in the table and on the record, and counts no more.

    Raises:
        NotAllowed, NotFound, Stale (the calibration's version).
        Conflict: ``struck_already``, or ``not_now``: the run has started, or it is an earlier
            attempt's.
    """
    require(by, Action.RECORD_READING)
    own = (
        Reading.objects.for_shop(by.shop_id)
        .filter(pk=reading.pk)
        .select_related("attempt__calibration")
        .first()
    )
    if own is None:
        raise NotFound("no_reading", "There is no such reading in this shop.")
    found = taken_up(by, own.attempt.calibration, version)
    if found.state not in _STATES or open_attempt(found).pk != own.attempt_id:
        raise not_now(found, "Only readings of an attempt that has not run can be struck out.")
    row = Reading.objects.select_for_update().get(pk=own.pk)
    if row.struck_at is not None:
        raise Conflict("struck_already", "This reading is struck out already.")
    row.struck_at = timezone.now()
    row.save(update_fields=["struck_at"])
    void_before_run(found)
    told_calibration(by, found, "calibration.reading_struck", _facts(row), struck=row.pk)
    return row


def _input(content: ProcedureContent, name: str, repeat: int) -> Input:
    inputs = {wanted.name: wanted for wanted in content.worksheet.inputs}
    if name not in inputs:
        right = f"one of {', '.join(inputs)}" if inputs else "nothing: nothing is measured here"
        raise _wrong("name", f"“{name[:60]}” is no input here", right)
    # Two more than asked for: what a check too close to call may want.
    most = inputs[name].repeats + 2
    if not 1 <= repeat <= most:
        raise _wrong("repeat", f"is {repeat}", f"1 to {most}")
    return inputs[name]


def _quantity(found: Calibration, wanted: Input, typed: str) -> Quantity:
    if len(typed.strip()) > TYPED_LENGTH:
        raise _wrong("typed", "is too long", f"a value in {wanted.unit}")
    try:
        quantity = parse_quantity(typed, wanted.unit)
    except ReadingRefused as refused:
        raise _wrong("typed", refused.says, refused.right) from refused
    worksheet = content_of(found.edition).worksheet
    judged = evaluate(worksheet, {wanted.name: quantity}, units=units_of(found.visit.shop))
    for error in judged.errors:
        if error.path.startswith(f"{wanted.name}["):
            raise _wrong("typed", error.says, error.right)
    return quantity


def _instrument(
    by: Actor,
    found: Calibration,
    attempt: Attempt,
    wanted: Input,
    given: EquipmentUnit | None,
) -> EquipmentUnit | None:
    """The unit read from, counted as used in the attempt."""
    asked = wanted.instrument.equipment
    if given is not None:
        used = take_into_use(by, found, attempt, given)
        if asked and used.type.code != asked:
            right = f"a unit of the type {asked}"
            raise _wrong("instrument", f"{used.name} is a {used.type.name}", right)
        return used
    if not asked:
        return None
    there = [
        row.unit
        for row in attempt.units.select_related("unit__type")
        if row.unit.type.code == asked
    ]
    if len(there) == 1:
        return there[0]
    says = "several units of this type are in use" if there else "no unit is named"
    raise _wrong("instrument", says, f"the {wanted.instrument.name or asked} it was read from")


def _strike_standing(attempt: Attempt, name: str, repeat: int) -> dict[str, Any] | None:
    standing = attempt.readings.filter(name=name, repeat=repeat, struck_at__isnull=True).first()
    if standing is None:
        return None
    standing.struck_at = timezone.now()
    standing.save(update_fields=["struck_at"])
    return _facts(standing)


def _facts(reading: Reading) -> dict[str, Any]:
    return {
        "name": reading.name,
        "repeat": reading.repeat,
        "typed": reading.typed,
        "value": reading.value,
        "unit": reading.unit,
        "instrument": reading.instrument.code if reading.instrument else "",
    }


def _wrong(path: str, says: str, right: str) -> Invalid:
    return Invalid(
        "reading", "This reading was not taken in.", errors=[FieldError(path, says, right)]
    )
