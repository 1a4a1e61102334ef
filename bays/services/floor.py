"""Publishing a floor plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone

from bays.floor import FloorPlan
from bays.models import FloorPlanEdition, Resource, ResourceKind
from bays.selectors.holders import Holding, holdings_after
from bays.services.checks import locked_shop
from bays.services.warming import owe_warming
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict
from shopcal.history.record import record_event

# Bookings named in a refusal; the facts name them all.
MOST_TOLD = 5


def publish_floor_plan(
    *, by: Actor, content: Mapping[str, Any], name: str | None = None
) -> FloorPlanEdition:
    """Put a drawing in force as the next edition; the zones become what vehicles can hold.

    ``name`` replaces the drawing's own. A drawing equal to the one in force makes no edition.

    Raises:
        NotAllowed: not a manager.
        PlanFaults: every fault of the drawing, with its path.
        Conflict: ``zones_in_use``, a zone that the drawing no longer has is booked.
    """
    require(by, Action.EDIT_FLOOR_PLAN)
    drawing = {**content, **({"name": name} if name else {})}
    plan = FloorPlan.from_content(drawing)
    with transaction.atomic():
        shop = locked_shop(by)
        newest = FloorPlanEdition.objects.for_shop(by.shop_id).order_by("-number").first()
        if newest is not None and newest.digest == plan.digest:
            return newest
        edition = FloorPlanEdition.objects.create(
            shop_id=by.shop_id,
            number=newest.number + 1 if newest else 1,
            name=plan.name,
            content=drawing,
            digest=plan.digest,
            published_at=timezone.now(),
            published_by=by.name,
        )
        _match_zones(shop, plan)
        record_event(
            by=by,
            kind="floor.published",
            subject=f"floor:{edition.pk}",
            before={"number": newest.number, "digest": newest.digest} if newest else None,
            after={"number": edition.number, "name": edition.name, "digest": plan.digest},
        )
        owe_warming(shop_id=by.shop_id, cause=f"floor:{edition.pk}")
    return edition


def _match_zones(shop: Shop, plan: FloorPlan) -> None:
    """Give every zone of the plan its resource; those of no zone any more become inactive."""
    rows = {
        row.code: row for row in Resource.objects.for_shop(shop.pk).filter(kind=ResourceKind.ZONE)
    }
    gone = [row for code, row in rows.items() if code not in plan.zones and row.active]
    _refuse_booked(shop, gone)
    Resource.objects.filter(pk__in=[row.pk for row in gone]).update(active=False)
    for code, zone in plan.zones.items():
        row = rows.get(code)
        if row is None:
            Resource.objects.create(
                shop_id=shop.pk, kind=ResourceKind.ZONE, code=code, name=zone.name
            )
        elif not row.active or row.name != zone.name:
            row.active, row.name = True, zone.name
            row.save(update_fields=["active", "name"])


def _refuse_booked(shop: Shop, gone: Sequence[Resource]) -> None:
    """A booking must not be left standing on floor that no longer has a name."""
    booked = holdings_after(shop.pk, gone, timezone.now())
    if not booked:
        return
    names = dict(sorted((held.code, held.zone) for held in booked))
    says = [_says_held(held, shop) for held in booked]
    told = "; ".join(says[:MOST_TOLD])
    more = f" And {len(says) - MOST_TOLD} more." if len(says) > MOST_TOLD else ""
    raise Conflict(
        "zones_in_use",
        f"The new floor plan lacks zones that are booked: {', '.join(names.values())}.",
        detail=f"{told}.{more} Keep these zones, or move the bookings first.",
        facts={"zones": list(names), "bookings": says},
    )


def _says_held(held: Holding, shop: Shop) -> str:
    starts, ends = held.starts_at.astimezone(shop.zone), held.ends_at.astimezone(shop.zone)
    until = (
        f"{ends:%H:%M}" if starts.date() == ends.date() else f"{ends:%a} {ends.day} {ends:%b %H:%M}"
    )
    day = f"{starts:%a} {starts.day} {starts:%b}"
    return f"{held.held_for} in {held.zone}, {day} {starts:%H:%M} to {until}"
