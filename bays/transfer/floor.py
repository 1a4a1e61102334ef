"""The section ``floor``: the drawing as it is published."""

from __future__ import annotations

from typing import Any

from bays.floor import FloorPlan, PlanFaults
from bays.models import FloorPlanEdition
from bays.services.floor import publish_floor_plan
from bays.services.put import Outcome
from bays.transfer.sections import Reading, Section
from bays.transfer.summary import Tally
from shopcal.accounts.actor import Actor


def read(value: Any, reading: Reading) -> dict[str, Any]:
    if not isinstance(value, dict):
        reading.faults.note("floor", "is no group of fields", "name, outline, zones, bays, …")
        return {}
    try:
        FloorPlan.from_content(value)
    except PlanFaults as refused:
        reading.faults.extend("floor", refused.errors)
    return value


def apply(by: Actor, content: dict[str, Any], tally: Tally) -> None:
    before = FloorPlanEdition.objects.for_shop(by.shop_id).order_by("-number").first()
    edition = publish_floor_plan(by=by, content=content)
    if before is None:
        tally.add("floor plans", Outcome.ADDED)
    else:
        same = edition.pk == before.pk
        tally.add("floor plans", Outcome.UNCHANGED if same else Outcome.CHANGED)


def export(shop_id: int) -> dict[str, Any] | None:
    edition = FloorPlanEdition.objects.for_shop(shop_id).order_by("-number").first()
    return dict(edition.content) if edition else None


SECTION = Section("floor", read, apply, export)
