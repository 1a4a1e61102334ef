"""Units used in an attempt, with their fitness as it stood."""

from __future__ import annotations

from django.utils import timezone

from bays.models import EquipmentUnit, UnitUse
from bays.services.equipment import record_use
from jobs.models import Attempt, AttemptUnit, Calibration
from jobs.selectors.fitness import fitness_of
from jobs.selectors.procedures import content_of
from jobs.services.answers import not_now, void_before_run
from jobs.services.calibrations import taken_up
from jobs.services.rows import one_transaction, open_attempt, told_calibration
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound

_STATES = ("preparing", "set_out")


@one_transaction
def use_unit(
    *, by: Actor, calibration: Calibration, unit: EquipmentUnit, version: int | None = None
) -> AttemptUnit:
    """Take a unit for the attempt being made; it counts one use for its step.

    A unit with upkeep overdue is taken down as such: the guard then keeps the run from starting
    until another unit is taken, the upkeep is done, or a manager sets it aside.

    Raises:
        NotAllowed, NotFound, Stale. Invalid: a type the procedure does not ask for.
        Conflict: ``out_of_service``, ``not_now``, ``not_in_work``.
    """
    require(by, Action.USE_EQUIPMENT)
    found = taken_up(by, calibration, version)
    attempt = _open(found)
    used = take_into_use(by, found, attempt, unit)
    _refuse_unasked(found, used)
    row = attempt.units.get(unit=used)
    void_before_run(found)
    told_calibration(
        by,
        found,
        "calibration.unit_used",
        None,
        attempt=attempt.number,
        unit=used.code,
        fitness=row.fitness,
        says=row.fitness_says,
    )
    return row


@one_transaction
def put_unit_back(
    *, by: Actor, calibration: Calibration, unit: EquipmentUnit, version: int | None = None
) -> Calibration:
    """Take a unit off the attempt before it runs, because another is used in its place.

    Raises:
        NotAllowed, NotFound, Stale.
        Conflict: ``readings_taken``, readings that stand were read from it; ``not_now``.
    """
    require(by, Action.USE_EQUIPMENT)
    found = taken_up(by, calibration, version)
    attempt = _open(found)
    row = attempt.units.filter(unit_id=unit.pk).select_related("unit").first()
    if row is None:
        raise NotFound("unit_not_used", "This unit is not in use here.")
    if attempt.readings.filter(instrument_id=unit.pk, struck_at__isnull=True).exists():
        raise Conflict(
            "readings_taken",
            f"Readings were taken with {row.unit.name}.",
            detail="Measure again with the other unit, or strike those readings out.",
        )
    row.delete()
    void_before_run(found)
    _give_use_back(found, attempt, unit)
    return told_calibration(
        by, found, "calibration.unit_put_back", {"unit": row.unit.code}, attempt=attempt.number
    )


def take_into_use(
    by: Actor, found: Calibration, attempt: Attempt, unit: EquipmentUnit
) -> EquipmentUnit:
    """Count a unit of this shop as used in a locked attempt. Call it inside the transaction.

    Raises:
        NotFound: another shop's. Conflict: ``out_of_service``.
    """
    fitness = fitness_of(found.visit.shop, [unit.pk], found.step_id).get(unit.pk)
    if fitness is None:
        raise NotFound("no_unit", "There is no such unit in this shop.")
    if not fitness.in_service:
        raise Conflict(
            "out_of_service",
            f"{fitness.unit.name} is out of service: {fitness.unit.state_reason}",
            detail="Use another unit, or have this one returned to service.",
        )
    _, new = AttemptUnit.objects.get_or_create(
        attempt=attempt,
        unit=fitness.unit,
        defaults={
            "shop_id": by.shop_id,
            "serial": fitness.unit.serial,
            "fitness": fitness.state.value,
            "fitness_says": fitness.says,
            "used_at": timezone.now(),
        },
    )
    if new:
        record_use(by=by, unit=fitness.unit, step_id=found.step_id)
    return fitness.unit


def _open(found: Calibration) -> Attempt:
    if found.state not in _STATES:
        raise not_now(found, "Equipment is taken before the run.")
    return open_attempt(found)


def _refuse_unasked(found: Calibration, unit: EquipmentUnit) -> None:
    content = content_of(found.edition)
    types = [item.type for item in content.equipment]
    types += [w.instrument.equipment for w in content.worksheet.inputs if w.instrument.equipment]
    if unit.type.code not in types:
        right = f"a unit of one of {', '.join(dict.fromkeys(types))}" if types else "no unit"
        fault = FieldError("unit", f"{unit.name} is not asked for here", right)
        raise Invalid("unit", "This unit was not taken.", errors=[fault])


def _give_use_back(found: Calibration, attempt: Attempt, unit: EquipmentUnit) -> None:
    """A unit put back unused counts no use, unless an earlier attempt of the step used it."""
    others = AttemptUnit.objects.filter(unit_id=unit.pk, attempt__calibration=found)
    if not others.exclude(attempt=attempt).exists():
        UnitUse.objects.for_shop(found.shop_id).filter(
            unit_id=unit.pk, step_id=found.step_id
        ).delete()
