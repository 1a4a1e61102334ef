"""Upkeep: the rules of each type of equipment, and what was done."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from bays.models import EquipmentType, EquipmentUnit, UpkeepDone, UpkeepRule
from bays.services.checks import (
    aware_faults,
    code_faults,
    locked_shop,
    own,
    refuse_faults,
    text_faults,
)
from bays.services.equipment import take_out_of_service
from bays.services.put import Put, put
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import FieldError
from shopcal.history.record import record_event


def interval_faults(
    every_days: int | None, every_uses: int | None, warn_days: int, warn_uses: int
) -> list[FieldError]:
    """A rule that is never due, or counts that cannot be."""
    errors = []
    if every_days is None and every_uses is None:
        errors.append(FieldError("every_days", "is never due", "days, uses or both"))
    for name, count, least in (
        ("every_days", every_days, 1),
        ("every_uses", every_uses, 1),
        ("warn_days", warn_days, 0),
        ("warn_uses", warn_uses, 0),
    ):
        if count is not None and count < least:
            errors.append(FieldError(name, f"is {count}", f"at least {least}"))
    return errors


def put_rule(
    *,
    by: Actor,
    type: EquipmentType,
    code: str,
    name: str,
    says: str = "",
    every_days: int | None = None,
    every_uses: int | None = None,
    warn_days: int = 14,
    warn_uses: int = 0,
) -> Put:
    """Add a rule for every unit of a type, or change the one with this code.

    Raises:
        NotAllowed: not a manager. NotFound: the type is not this shop's.
        Invalid: a code, name or interval that cannot be, or a rule of another type.
    """
    require(by, Action.EDIT_EQUIPMENT)
    errors = code_faults("code", code) + text_faults("name", name, 120)
    errors += text_faults("says", says, 400, needed=False)
    errors += interval_faults(every_days, every_uses, warn_days, warn_uses)
    refuse_faults("upkeep_rule_invalid", "The rule was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        kind = own(by, type, "equipment type")
        now = UpkeepRule.objects.for_shop(by.shop_id).filter(code=code).first()
        if now is not None and now.equipment_type_id != kind.pk:
            taken = [FieldError("code", f"“{code}” is a rule of another type", "another code")]
            refuse_faults("upkeep_rule_invalid", "The rule was not saved.", taken)
        return put(
            by,
            UpkeepRule,
            "upkeep_rule",
            where={"code": code},
            values={
                "name": name.strip(),
                "says": says.strip(),
                "every_days": every_days,
                "every_uses": every_uses,
                "warn_days": warn_days,
                "warn_uses": warn_uses,
            },
            only_new={"equipment_type": kind},
        )


def add_rule(
    *,
    by: Actor,
    type: EquipmentType,
    code: str,
    name: str,
    says: str = "",
    every_days: int | None = None,
    every_uses: int | None = None,
    warn_days: int = 14,
    warn_uses: int = 0,
) -> UpkeepRule:
    """Add a rule with a code that is still free.

    Raises:
        NotAllowed, NotFound, Invalid: as ``put_rule``, or the code is taken.
    """
    require(by, Action.EDIT_EQUIPMENT)
    with transaction.atomic():
        locked_shop(by)
        if UpkeepRule.objects.for_shop(by.shop_id).filter(code=code).exists():
            taken = [FieldError("code", f"“{code}” is taken", "another code")]
            refuse_faults("code_taken", "This code is in use already.", taken)
        made: UpkeepRule = put_rule(
            by=by, type=type, code=code, name=name, says=says, every_days=every_days,
            every_uses=every_uses, warn_days=warn_days, warn_uses=warn_uses,
        ).row  # fmt: skip
    return made


def record_upkeep(
    *,
    by: Actor,
    unit: EquipmentUnit,
    rule: UpkeepRule,
    result: str,
    note: str = "",
    done_at: datetime | None = None,
    done_by: str = "",
) -> UpkeepDone:
    """Record upkeep; ``not_fit`` takes the unit out of service unless later upkeep found it fit.

    ``done_at`` is now where not given, ``done_by`` the actor. The use count kept with it is that
    of the moment it was done. A unit that is out of service stays so until it is returned.

    Raises:
        NotAllowed: neither a technician nor a manager. NotFound: no unit or rule of this shop.
        Invalid: a rule of another type, a result that is none, a time before the unit was
            commissioned or after now.
    """
    require(by, Action.RECORD_UPKEEP)
    now = timezone.now()
    done_at = done_at or now
    with transaction.atomic():
        found = own(by, unit, "unit")
        kept = own(by, rule, "upkeep rule")
        errors = _done_faults(found, kept, result, note, done_at, now)
        refuse_faults("upkeep_invalid", "The upkeep was not saved.", errors)
        done = UpkeepDone.objects.create(
            shop_id=by.shop_id,
            unit=found,
            rule=kept,
            done_at=done_at,
            uses_at=found.uses.filter(used_at__lte=done_at).count(),
            result=result,
            note=note.strip(),
            done_by=done_by or by.name,
        )
        if result == UpkeepDone.Result.NOT_FIT and not _fit_since(done):
            reason = f"{kept.name}: not fit for use" + (f", {done.note}" if done.note else "")
            take_out_of_service(by=by, unit=found, reason=reason[:200])
        record_event(
            by=by,
            kind="upkeep.recorded",
            subject=f"unit:{found.pk}",
            after={
                "rule": kept.code, "result": str(result), "note": done.note,
                "done_at": done_at.isoformat(), "uses_at": done.uses_at,
            },
        )  # fmt: skip
    return done


def _done_faults(
    unit: EquipmentUnit,
    rule: UpkeepRule,
    result: str,
    note: str,
    done_at: datetime,
    now: datetime,
) -> list[FieldError]:
    errors = text_faults("note", note, 400, needed=False) + aware_faults("done_at", done_at)
    if result not in UpkeepDone.Result.values:
        errors.append(FieldError("result", f"is “{result}”", "fit or not_fit"))
    if rule.equipment_type_id != unit.type_id:
        errors.append(FieldError("rule", f"“{rule.code}” is a rule of another type"))
    if errors:
        return errors
    if done_at > now:
        errors.append(FieldError("done_at", "has not come yet", "when it was done"))
    if done_at.astimezone(unit.shop.zone).date() < unit.commissioned_on:
        right = f"a day from {unit.commissioned_on} on"
        errors.append(FieldError("done_at", "is before the unit was commissioned", right))
    return errors


def _fit_since(done: UpkeepDone) -> bool:
    """Whether upkeep under the same rule, done later, found the unit fit."""
    later = done.unit.upkeep_done.filter(rule_id=done.rule_id, done_at__gt=done.done_at)
    return later.filter(result=UpkeepDone.Result.FIT).exists()
