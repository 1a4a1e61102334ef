"""Taking the units a form names, and putting back those it no longer names."""

from __future__ import annotations

from bays.models import EquipmentUnit
from jobs.models import AttemptUnit, Calibration
from jobs.selectors.facts import attempt_state, calibration_facts
from jobs.services.equipment_used import put_unit_back, use_unit
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Conflict, FieldError, Invalid


def choose_units(request: MemberRequest, calibration: Calibration) -> None:
    """Use every unit chosen; one of the same type that is no longer chosen is put back.

    Raises:
        Invalid: a piece is not chosen, chosen twice, or refused; ``path`` is its field.
    """
    state = attempt_state(calibration)
    may_lack = "equipment_missing" in calibration_facts(calibration, state=state).overridden
    keys = [
        (f"unit-{item.type}-{place}", item.type)
        for item in state.content.equipment
        for place in range(item.count)
    ]
    units = {
        str(unit.pk): unit
        for unit in EquipmentUnit.objects.for_shop(calibration.shop_id)
        .filter(type__code__in=[kind for _, kind in keys])
        .select_related("type")
    }
    chosen, faults = _chosen(request, keys, units, may_lack=may_lack)
    wanted = {unit.pk for unit in chosen.values()}
    faults += _put_back(request, calibration, wanted, {kind: key for key, kind in keys})
    faults += _use(request, calibration, chosen)
    if faults:
        raise Invalid("units", "Not every piece is settled.", errors=faults)


def _chosen(
    request: MemberRequest,
    keys: list[tuple[str, str]],
    units: dict[str, EquipmentUnit],
    *,
    may_lack: bool,
) -> tuple[dict[str, EquipmentUnit], list[FieldError]]:
    chosen: dict[str, EquipmentUnit] = {}
    faults = []
    for key, kind in keys:
        unit = units.get(request.POST.get(key, ""))
        if unit is None or unit.type.code != kind:
            if not may_lack:
                faults.append(FieldError(key, "None is chosen.", "Choose the one you use."))
        elif unit in chosen.values():
            faults.append(FieldError(key, "This one is chosen twice.", "Choose another."))
        else:
            chosen[key] = unit
    return chosen, faults


def _put_back(
    request: MemberRequest, calibration: Calibration, wanted: set[int], keys: dict[str, str]
) -> list[FieldError]:
    faults = []
    rows = AttemptUnit.objects.filter(
        attempt=attempt_state(calibration).attempt, unit__type__code__in=list(keys)
    ).select_related("unit__type")
    for row in rows.exclude(unit_id__in=wanted):
        try:
            put_unit_back(by=request.actor, calibration=calibration, unit=row.unit)
        except Conflict as refused:
            faults.append(_fault(keys[row.unit.type.code], refused))
    return faults


def _use(
    request: MemberRequest, calibration: Calibration, chosen: dict[str, EquipmentUnit]
) -> list[FieldError]:
    faults = []
    attempt = attempt_state(calibration).attempt
    used = set(attempt.units.values_list("unit_id", flat=True)) if attempt else set()
    for key, unit in chosen.items():
        if unit.pk in used:
            continue
        try:
            use_unit(by=request.actor, calibration=calibration, unit=unit)
        except Conflict as refused:
            if refused.code == "not_now":
                raise
            faults.append(_fault(key, refused))
    return faults


def _fault(key: str, refused: Conflict) -> FieldError:
    return FieldError(key, refused.title, refused.detail)
