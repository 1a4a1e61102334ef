"""Equipment: types, single units, taking a unit out of service and back, counting uses."""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from bays.models import (
    EquipmentType,
    EquipmentUnit,
    Resource,
    ResourceKind,
    UnitDowntime,
    UnitUse,
    UpkeepDone,
)
from bays.services.checks import (
    aware_faults,
    code_faults,
    locked_shop,
    own,
    refuse_faults,
    refuse_stale,
    text_faults,
)
from bays.services.put import Put, put, save_changes
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError
from shopcal.history.record import record_event

ACCURACY_CLASSES = ("I", "II", "III")


def put_equipment_type(*, by: Actor, code: str, name: str, exclusive: bool = True) -> Put:
    """Add a type of equipment, or change the one with this code.

    Raises:
        NotAllowed: not a manager. Invalid: no such code or name.
    """
    require(by, Action.EDIT_EQUIPMENT)
    errors = code_faults("code", code) + text_faults("name", name, 120)
    refuse_faults("equipment_type_invalid", "The type was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        return put(
            by, EquipmentType, "equipment_type", where={"code": code},
            values={"name": name.strip(), "exclusive": exclusive},
        )  # fmt: skip


def add_equipment_type(*, by: Actor, code: str, name: str, exclusive: bool = True) -> EquipmentType:
    """Add a type with a code that is still free.

    Raises:
        NotAllowed: not a manager. Invalid: as ``put_equipment_type``, or the code is taken.
    """
    require(by, Action.EDIT_EQUIPMENT)
    with transaction.atomic():
        locked_shop(by)
        _refuse_taken(EquipmentType.objects.for_shop(by.shop_id).filter(code=code).exists(), code)
        made: EquipmentType = put_equipment_type(
            by=by, code=code, name=name, exclusive=exclusive
        ).row
    return made


def unit_faults(
    *, serial: str = "", accuracy_class: str = "", resolution_mm: float | None = None
) -> list[FieldError]:
    """What is wrong with a unit's own facts."""
    errors = text_faults("serial", serial, 80, needed=False)
    if accuracy_class and accuracy_class not in ACCURACY_CLASSES:
        errors.append(FieldError("accuracy_class", f"is “{accuracy_class}”", "I, II or III"))
    if resolution_mm is not None and not (math.isfinite(resolution_mm) and resolution_mm > 0):
        errors.append(FieldError("resolution_mm", "is not above 0", "such as 1"))
    return errors


def put_unit(
    *,
    by: Actor,
    type: EquipmentType,
    code: str,
    name: str,
    commissioned_on: date,
    serial: str = "",
    accuracy_class: str = "",
    resolution_mm: float | None = None,
    version: int | None = None,
) -> Put:
    """Add one physical item, or change the one with this code. ``resolution_mm`` is a tape's.

    Raises:
        NotAllowed: not a manager. NotFound: the type is not this shop's.
        Invalid: a code, name or figure that cannot be; a unit cannot change its type.
        Stale: ``unit_changed``, someone changed it since ``version``.
    """
    require(by, Action.EDIT_EQUIPMENT)
    errors = code_faults("code", code) + text_faults("name", name, 120)
    errors += unit_faults(serial=serial, accuracy_class=accuracy_class, resolution_mm=resolution_mm)
    refuse_faults("unit_invalid", "The unit was not saved.", errors)
    values = {
        "name": name.strip(),
        "serial": serial.strip(),
        "commissioned_on": commissioned_on,
        "accuracy_class": accuracy_class,
        "resolution_mm": resolution_mm,
    }
    with transaction.atomic():
        locked_shop(by)
        kind = own(by, type, "equipment type")
        now = EquipmentUnit.objects.for_shop(by.shop_id).filter(code=code).first()
        if now is not None:
            refuse_stale(now, version, "unit")
            _refuse_other_type(now, kind)
            _refuse_later_than_upkeep(now, commissioned_on)
        resource, _ = Resource.objects.update_or_create(
            shop_id=by.shop_id, kind=ResourceKind.UNIT, code=code, defaults={"name": name.strip()}
        )
        return put(
            by, EquipmentUnit, "unit", where={"code": code}, values=values,
            only_new={"type": kind, "resource": resource},
        )  # fmt: skip


def _refuse_later_than_upkeep(unit: EquipmentUnit, commissioned_on: date) -> None:
    """Upkeep done before a unit was there would make its history impossible to read."""
    first = UpkeepDone.objects.filter(unit=unit).order_by("done_at").first()
    if first is not None and first.done_at.astimezone(unit.shop.zone).date() < commissioned_on:
        day = first.done_at.astimezone(unit.shop.zone).date()
        fault = FieldError(
            "commissioned_on", f"is later than upkeep done on {day}", f"{day} or before"
        )
        refuse_faults("unit_invalid", "The unit was not saved.", [fault])


def add_unit(
    *,
    by: Actor,
    type: EquipmentType,
    code: str,
    name: str,
    **facts: Any,
) -> EquipmentUnit:
    """Add a unit with a code that is still free; ``facts`` as ``put_unit`` takes them.

    Raises:
        NotAllowed, NotFound, Invalid: as ``put_unit``, or the code is taken.
    """
    require(by, Action.EDIT_EQUIPMENT)
    facts.setdefault("commissioned_on", timezone.now().date())
    with transaction.atomic():
        locked_shop(by)
        _refuse_taken(EquipmentUnit.objects.for_shop(by.shop_id).filter(code=code).exists(), code)
        made: EquipmentUnit = put_unit(by=by, type=type, code=code, name=name, **facts).row
    return made


def take_out_of_service(
    *,
    by: Actor,
    unit: EquipmentUnit,
    reason: str,
    until: datetime | None = None,
    version: int | None = None,
) -> EquipmentUnit:
    """Keep a unit from being used, from now until somebody returns it to service.

    ``until`` is only what planning expects: the unit stays out of service after it until a person
    has looked at it and returned it. Whoever sees damage may do this.

    Raises:
        NotFound: no unit of this shop. Invalid: no reason, or ``until`` is past.
        Stale: ``unit_changed``, someone changed it since ``version``.
    """
    require(by, Action.TAKE_UNIT_OUT)
    now = timezone.now()
    errors = text_faults("reason", reason, 200) + aware_faults("until", until)
    if not errors and until is not None and until <= now:
        errors.append(FieldError("until", "is past", "when it is expected back"))
    refuse_faults("downtime_invalid", "The unit was not taken out of service.", errors)
    with transaction.atomic():
        found = own(by, unit, "unit")
        refuse_stale(found, version, "unit")
        before = _state(found)
        _end_downtimes(found, now)
        UnitDowntime.objects.create(
            shop_id=by.shop_id, unit=found, starts_at=now, ends_at=until, reason=reason.strip()
        )
        out = EquipmentUnit.State.OUT_OF_SERVICE
        save_changes(found, {"state": out, "state_reason": reason.strip()})
        after = _state(found) | {"until": until.isoformat() if until else None}
        record_event(
            by=by, kind="unit.taken_out", subject=f"unit:{found.pk}", before=before, after=after
        )
    return found


def return_to_service(
    *, by: Actor, unit: EquipmentUnit, version: int | None = None
) -> EquipmentUnit:
    """Let a unit be used again.

    Raises:
        NotAllowed: neither a technician nor a manager. NotFound: no unit of this shop.
        Conflict: ``in_service``, it never was out; ``not_fit``, its last upkeep under some rule
            found it not fit for use. Stale: ``unit_changed``.
    """
    require(by, Action.RECORD_UPKEEP)
    with transaction.atomic():
        found = own(by, unit, "unit")
        refuse_stale(found, version, "unit")
        if found.state == EquipmentUnit.State.IN_SERVICE:
            raise Conflict("in_service", f"{found.name} is in service.")
        _refuse_not_fit(found)
        before = _state(found)
        _end_downtimes(found, timezone.now())
        save_changes(found, {"state": EquipmentUnit.State.IN_SERVICE, "state_reason": ""})
        record_event(
            by=by,
            kind="unit.returned",
            subject=f"unit:{found.pk}",
            before=before,
            after=_state(found),
        )
    return found


def record_use(*, by: Actor, unit: EquipmentUnit, step_id: int) -> UnitUse:
    """Count one use of a unit in a step; the same step counts once, however often it is told.

    Raises:
        NotAllowed: neither a technician nor a manager. NotFound: no unit of this shop.
        Conflict: ``out_of_service``, with the reason.
    """
    require(by, Action.USE_EQUIPMENT)
    with transaction.atomic():
        found = own(by, unit, "unit")
        use = UnitUse.objects.for_shop(by.shop_id).filter(unit=found, step_id=step_id).first()
        if use is not None:
            return use
        if found.state == EquipmentUnit.State.OUT_OF_SERVICE:
            raise Conflict(
                "out_of_service",
                f"{found.name} is out of service: {found.state_reason}",
                detail="Use another unit, or have this one returned to service.",
            )
        use = UnitUse.objects.create(
            shop_id=by.shop_id, unit=found, step_id=step_id, used_at=timezone.now()
        )
        record_event(by=by, kind="unit.used", subject=f"unit:{found.pk}", after={"step": step_id})
    return use


def _refuse_taken(taken: bool, code: str) -> None:
    errors = [FieldError("code", f"“{code}” is taken", "another code")] if taken else []
    refuse_faults("code_taken", "This code is in use already.", errors)


def _refuse_other_type(unit: EquipmentUnit, kind: EquipmentType) -> None:
    if unit.type_id != kind.pk:
        errors = [FieldError("code", f"“{unit.code}” is a unit of another type", "another code")]
        refuse_faults("unit_invalid", "The unit was not saved.", errors)


def _refuse_not_fit(unit: EquipmentUnit) -> None:
    newest: dict[int, UpkeepDone] = {}
    for done in unit.upkeep_done.select_related("rule").order_by("done_at", "pk"):
        newest[done.rule_id] = done
    unfit = [d.rule.name for d in newest.values() if d.result == UpkeepDone.Result.NOT_FIT]
    if unfit:
        raise Conflict(
            "not_fit",
            f"{unit.name} was found not fit for use: {', '.join(sorted(unfit))}.",
            detail="Put it right and record the upkeep as fit first.",
            facts={"rules": sorted(unfit)},
        )


def _end_downtimes(unit: EquipmentUnit, now: datetime) -> None:
    """What was to last beyond now ends now; downtimes planned for later stay."""
    running = Q(ends_at__isnull=True) | Q(ends_at__gt=now)
    unit.downtimes.filter(running, starts_at__lte=now).update(ends_at=now)


def _state(unit: EquipmentUnit) -> dict[str, Any]:
    return {"state": str(unit.state), "reason": unit.state_reason, "version": unit.version}
