"""Equipment as it stands: units, whether they are fit, and when they cannot be used."""

from __future__ import annotations

from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db.models import Count, QuerySet
from django.utils import timezone

from bays import upkeep
from bays.convert.planner import Clock, unit_key
from bays.models import EquipmentUnit, UpkeepRule
from bays.planner import Unit as PlannedUnit
from bays.planner import Window


class UnitDue(NamedTuple):
    """One upkeep rule of one unit and where it stands."""

    unit: EquipmentUnit
    rule: UpkeepRule
    due: upkeep.Due


def units(shop_id: int) -> QuerySet[EquipmentUnit]:
    """All units with their types, rules, upkeep history, downtimes and number of uses at hand."""
    return (
        EquipmentUnit.objects.for_shop(shop_id)
        .select_related("shop", "type", "resource")
        .prefetch_related("type__upkeep_rules", "upkeep_done", "downtimes")
        .annotate(use_count=Count("uses"))
        .order_by("type__name", "code")
    )


def due_list(shop_id: int, today: date) -> list[UnitDue]:
    """Every rule of every unit, what is overdue first, then by the day it falls due."""
    found = [row for unit in units(shop_id) for row in dues_of(unit, today)]
    rank = {upkeep.DueState.OVERDUE: 0, upkeep.DueState.DUE_SOON: 1, upkeep.DueState.FIT: 2}
    return sorted(found, key=lambda row: (rank[row.due.state], row.due.due_on or date.max))


def dues_of(unit: EquipmentUnit, today: date) -> list[UnitDue]:
    """Where each rule of a unit from ``units`` stands."""
    return [
        UnitDue(unit, rule, upkeep.status(_rule(rule), history_of(unit, rule), today))
        for rule in unit.type.upkeep_rules.all()
    ]


def history_of(unit: EquipmentUnit, rule: UpkeepRule) -> upkeep.History:
    """What upkeep was done under a rule, and the uses counted so far."""
    done = sorted(
        (d for d in unit.upkeep_done.all() if d.rule_id == rule.pk and d.result == "fit"),
        key=lambda d: d.done_at,
    )
    zone = unit.shop.zone
    return upkeep.History(
        commissioned_on=unit.commissioned_on,
        done=tuple(
            upkeep.Done(on=d.done_at.astimezone(zone).date(), uses_at=d.uses_at) for d in done
        ),
        uses_now=unit.use_count,  # type: ignore[attr-defined]
    )


def unfit_from(unit: EquipmentUnit, zone: ZoneInfo) -> datetime | None:
    """The first moment this unit may no longer be held, None while no rule sets one."""
    pairs = [(_rule(rule), history_of(unit, rule)) for rule in unit.type.upkeep_rules.all()]
    moments = [upkeep.unfit_from((rule,), history, zone) for rule, history in pairs]
    return min((moment for moment in moments if moment is not None), default=None)


def planned_units(shop_id: int, clock: Clock, horizon: int) -> tuple[PlannedUnit, ...]:
    """Exclusive units as the planner sees them: out of service and overdue are unavailable."""
    return tuple(
        PlannedUnit(
            id=unit_key(unit.code),
            type=unit.type.code,
            label=unit.name,
            unavailable=_unavailable(unit, clock, horizon),
            type_label=unit.type.name,
        )
        for unit in units(shop_id)
        if unit.type.exclusive
    )


def _unavailable(unit: EquipmentUnit, clock: Clock, horizon: int) -> tuple[Window, ...]:
    end = clock.moment(horizon)
    spans = [(d.starts_at, d.ends_at or end) for d in unit.downtimes.all()]
    if unit.state == EquipmentUnit.State.OUT_OF_SERVICE and not spans:
        spans.append((timezone.now(), end))
    unfit = unfit_from(unit, clock.zone)
    if unfit is not None:
        spans.append((unfit, end))
    windows = (
        clock.around(max(start, clock.moment(0)), stop) for start, stop in spans if start < stop
    )
    return tuple(sorted(w for w in windows if w.end > w.start))


def _rule(rule: UpkeepRule) -> upkeep.Rule:
    return upkeep.Rule(
        id=rule.code,
        name=rule.name,
        every_days=rule.every_days,
        every_uses=rule.every_uses,
        warn_days=rule.warn_days,
        warn_uses=rule.warn_uses,
    )
