"""Whether the units used in an attempt are fit, told before the attempt's own use counts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from bays import upkeep
from bays.models import EquipmentUnit, UnitUse
from bays.selectors.equipment import dues_of, units
from shopcal.accounts.models import Shop


@dataclass(frozen=True)
class Fitness:
    """A unit as it stands today; ``says`` is the rule that is closest or past, in words."""

    unit: EquipmentUnit
    state: upkeep.DueState
    says: str

    @property
    def in_service(self) -> bool:
        return self.unit.state == EquipmentUnit.State.IN_SERVICE


def fitness_of(shop: Shop, unit_ids: Iterable[int], step_id: int) -> dict[int, Fitness]:
    """Each unit's fitness by its id, as if this step had not used it yet.

    A unit with one use left may be used once more: counting that very use first would call it
    overdue while it is in use.
    """
    ids = list(unit_ids)
    if not ids:
        return {}
    own = set(
        UnitUse.objects.for_shop(shop.pk)
        .filter(unit_id__in=ids, step_id=step_id)
        .values_list("unit_id", flat=True)
    )
    today = timezone.now().astimezone(shop.zone).date()
    found = {}
    for unit in units(shop.pk).filter(pk__in=ids):
        if unit.pk in own:
            counted = max((done.uses_at for done in unit.upkeep_done.all()), default=0)
            now = unit.use_count  # type: ignore[attr-defined]
            unit.use_count = max(now - 1, counted)  # type: ignore[attr-defined]
        dues = [row.due for row in dues_of(unit, today)]
        worst = max(dues, key=lambda due: list(upkeep.DueState).index(due.state), default=None)
        state = worst.state if worst else upkeep.DueState.FIT
        found[unit.pk] = Fitness(unit, state, worst.says if worst else "no upkeep rule")
    return found
