"""The section ``equipment``: types with their upkeep rules, and units with what was done."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from bays.models import EquipmentType, EquipmentUnit, UpkeepRule
from bays.services.equipment import (
    put_equipment_type,
    put_unit,
    take_out_of_service,
    unit_faults,
)
from bays.services.put import Outcome
from bays.services.upkeep import interval_faults, put_rule
from bays.transfer.faults import Entry, Faults
from bays.transfer.sections import Reading, Section
from bays.transfer.stored import over_stored
from bays.transfer.summary import Tally
from bays.transfer.upkeep import DoneRead, bring_in, read_done, told_done
from shopcal.accounts.actor import Actor

_UNIT_MAY = (
    "serial", "accuracy_class", "resolution_mm", "state", "state_reason", "upkeep_done",
)  # fmt: skip
_UNIT_KEPT = ("serial", "accuracy_class", "resolution_mm")
_RULE_MAY = ("says", "every_days", "every_uses", "warn_days", "warn_uses")
OUT = EquipmentUnit.State.OUT_OF_SERVICE


@dataclass(frozen=True)
class UnitRead:
    """``facts`` are what ``put_unit`` takes; ``out_because`` is "" for a unit in service."""

    facts: dict[str, Any]
    out_because: str
    done: list[DoneRead]


@dataclass(frozen=True)
class TypeRead:
    """One type with what belongs to it."""

    code: str
    name: str
    exclusive: bool | None
    rules: list[dict[str, Any]]
    units: list[UnitRead]


@dataclass
class _Seen:
    types: dict[str, str]
    rules: dict[str, str]
    units: dict[str, str]


def read(value: Any, reading: Reading) -> list[TypeRead]:
    faults = reading.faults
    fields = faults.keys(value, "equipment", needed=(), may=("types",))
    seen = _Seen({}, {}, {})
    found = []
    for entry in faults.entries(
        (fields or {}).get("types", []), "equipment.types",
        needed=("code", "name"), may=("exclusive", "upkeep", "units"),
    ):  # fmt: skip
        code = faults.given(entry, "code", faults.code)
        faults.once(f"{entry.path}.code", code, seen.types)
        name = faults.given(entry, "name", faults.words)
        exclusive = faults.given(entry, "exclusive", faults.flag)
        rules = _rules(entry, reading, code or "", seen)
        kind = TypeRead(
            code=code or "",
            name=name or "",
            exclusive=exclusive,
            rules=rules,
            units=_units(entry, reading, code or "", rules, seen),
        )
        found.append(kind)
    return found


def _rules(entry: Entry, reading: Reading, kind: str, seen: _Seen) -> list[dict[str, Any]]:
    faults = reading.faults
    stored = UpkeepRule.objects.for_shop(reading.shop_id).select_related("equipment_type")
    owners = {rule.code: rule.equipment_type.code for rule in stored}
    found = []
    path = f"{entry.path}.upkeep"
    for row in faults.entries(
        entry.fields.get("upkeep", []), path, needed=("code", "name"), may=_RULE_MAY
    ):
        code = faults.given(row, "code", faults.code)
        faults.once(f"{row.path}.code", code, seen.rules)
        if code is not None and owners.get(code, kind) != kind:
            faults.note(f"{row.path}.code", f"“{code}” is a rule of {owners[code]} already")
        found.append(_rule(row, faults, code or ""))
    return found


def _rule(row: Entry, faults: Faults, code: str) -> dict[str, Any]:
    name = faults.given(row, "name", faults.words)
    says = faults.given(row, "says", lambda v, p: faults.words(v, p, at_most=400, needed=False))
    every_days = faults.given(row, "every_days", lambda v, p: faults.count(v, p, least=1))
    every_uses = faults.given(row, "every_uses", lambda v, p: faults.count(v, p, least=1))
    warn_days = faults.given(row, "warn_days", faults.count)
    warn_uses = faults.given(row, "warn_uses", faults.count)
    found = {
        "code": code,
        "name": name or "",
        "says": says,
        "every_days": every_days,
        "every_uses": every_uses,
        "warn_days": warn_days,
        "warn_uses": warn_uses,
    }
    if not {"every_days", "every_uses"} & set(row.fields):
        faults.extend(row.path, interval_faults(None, None, 0, 0))
    return _given(found)


def _given(facts: dict[str, Any]) -> dict[str, Any]:
    return {name: fact for name, fact in facts.items() if fact is not None}


def _units(
    entry: Entry, reading: Reading, kind: str, rules: list[dict[str, Any]], seen: _Seen
) -> list[UnitRead]:
    faults = reading.faults
    shop_units = EquipmentUnit.objects.for_shop(reading.shop_id).select_related("type")
    owners = {unit.code: unit.type.code for unit in shop_units}
    stored = UpkeepRule.objects.for_shop(reading.shop_id).filter(equipment_type__code=kind)
    known = {rule["code"] for rule in rules} | set(stored.values_list("code", flat=True))
    found = []
    for row in faults.entries(
        entry.fields.get("units", []), f"{entry.path}.units",
        needed=("code", "name", "commissioned_on"), may=_UNIT_MAY,
    ):  # fmt: skip
        code = faults.given(row, "code", faults.code)
        faults.once(f"{row.path}.code", code, seen.units)
        if code is not None and owners.get(code, kind) != kind:
            faults.note(f"{row.path}.code", f"“{code}” is a unit of {owners[code]} already")
        found.append(_unit(row, reading, code or "", known))
    return found


def _unit(row: Entry, reading: Reading, code: str, known: set[str]) -> UnitRead:
    faults = reading.faults
    commissioned_on = faults.given(row, "commissioned_on", faults.day)
    serial = _text(row, "serial", faults)
    accuracy_class = _text(row, "accuracy_class", faults)
    resolution_mm = faults.given(row, "resolution_mm", faults.number)
    faults.extend(
        row.path,
        unit_faults(
            serial=serial or "", accuracy_class=accuracy_class or "", resolution_mm=resolution_mm
        ),
    )
    facts = {
        "code": code,
        "name": faults.given(row, "name", faults.words),
        "commissioned_on": commissioned_on,
        "serial": serial,
        "accuracy_class": accuracy_class,
        "resolution_mm": resolution_mm,
    }
    return UnitRead(
        facts=_given(facts),
        out_because=_out_because(row, faults),
        done=read_done(row, reading, known, commissioned_on or date.min),
    )


def _text(row: Entry, name: str, faults: Faults) -> str | None:
    return faults.given(row, name, lambda v, p: faults.words(v, p, needed=False))


def _out_because(row: Entry, faults: Faults) -> str:
    reason = faults.given(row, "state_reason", lambda v, p: faults.words(v, p, at_most=200))
    if "state" not in row.fields:
        if "state_reason" in row.fields:
            faults.note(f"{row.path}.state", "is missing beside its reason", OUT.value)
        return ""
    state = faults.choice(row.fields["state"], f"{row.path}.state", [OUT.value])
    if state and "state_reason" not in row.fields:
        faults.note(f"{row.path}.state_reason", "is missing", "why it is out of service")
    return (reason or "") if state else ""


def apply(by: Actor, found: list[TypeRead], tally: Tally) -> None:
    for want in found:
        facts = _given({"code": want.code, "name": want.name, "exclusive": want.exclusive})
        facts = over_stored(EquipmentType, by.shop_id, facts, ("exclusive",))
        kind = put_equipment_type(by=by, **facts)
        tally.add("equipment types", kind.outcome)
        for given in want.rules:
            rule = over_stored(UpkeepRule, by.shop_id, given, _RULE_MAY)
            tally.add("upkeep rules", put_rule(by=by, type=kind.row, **rule).outcome)
        for unit in want.units:
            facts = over_stored(EquipmentUnit, by.shop_id, unit.facts, _UNIT_KEPT)
            made = put_unit(by=by, type=kind.row, **facts)
            outcomes = [made.outcome, *bring_in(by, made.row, unit.done)]
            outcomes += _take_out(by, made.row, unit.out_because)
            tally.add("equipment units", *outcomes)


def _take_out(by: Actor, unit: EquipmentUnit, reason: str) -> list[Outcome]:
    unit.refresh_from_db()
    if not reason or (unit.state == OUT and unit.state_reason == reason):
        return []
    take_out_of_service(by=by, unit=unit, reason=reason)
    return [Outcome.CHANGED]


def export(shop_id: int) -> dict[str, Any] | None:
    rows = (
        EquipmentType.objects.for_shop(shop_id)
        .prefetch_related("upkeep_rules", "units__upkeep_done__rule", "units__shop")
        .order_by("code")
    )
    told = [_type(row) for row in rows]
    return {"types": told} if told else None


def _type(row: EquipmentType) -> dict[str, Any]:
    told: dict[str, Any] = {"code": row.code, "name": row.name}
    if not row.exclusive:
        told["exclusive"] = False
    rules = sorted(row.upkeep_rules.all(), key=lambda rule: rule.code)
    if rules:
        told["upkeep"] = [_told_rule(rule) for rule in rules]
    units = sorted(row.units.all(), key=lambda unit: unit.code)
    if units:
        told["units"] = [_told_unit(unit) for unit in units]
    return told


def _told_rule(rule: UpkeepRule) -> dict[str, Any]:
    told: dict[str, Any] = {"code": rule.code, "name": rule.name}
    told |= {n: getattr(rule, n) for n in ("every_days", "every_uses") if getattr(rule, n)}
    told |= {"warn_days": rule.warn_days, "warn_uses": rule.warn_uses}
    return told | ({"says": rule.says} if rule.says else {})


def _told_unit(unit: EquipmentUnit) -> dict[str, Any]:
    told: dict[str, Any] = {"code": unit.code, "name": unit.name}
    told |= {n: getattr(unit, n) for n in ("serial", "accuracy_class") if getattr(unit, n)}
    if unit.resolution_mm is not None:
        told["resolution_mm"] = unit.resolution_mm
    told["commissioned_on"] = unit.commissioned_on.isoformat()
    if unit.state == OUT:
        told |= {"state": OUT.value, "state_reason": unit.state_reason}
    done = told_done(unit)
    return told | ({"upkeep_done": done} if done else {})


SECTION = Section("equipment", read, apply, export)
