"""Taking and giving back resources. The database has the last word on double booking."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from bays.models import Hold, HoldReason, Resource, ResourceKind
from bays.overlap import is_overlap
from shopcal.accounts.actor import Actor
from shopcal.errors import Conflict


@dataclass(frozen=True)
class HoldWanted:
    """A resource by kind and code, wanted for a half-open time range."""

    kind: ResourceKind
    code: str
    starts_at: datetime
    ends_at: datetime
    step_id: int | None = None
    reason: HoldReason = HoldReason.WORK
    note: str = ""


def replace_holds(
    *, by: Actor, step_ids: Iterable[int], wanted: Sequence[HoldWanted]
) -> list[Hold]:
    """Give back every hold of these steps and take the wanted ones, all or nothing.

    The resources are locked first, in order of their id. PostgreSQL enters a row before it looks
    for others that overlap it, so two bookings of the same time would otherwise wait for each
    other until one is ended as a deadlock, a second later.

    Raises:
        Conflict: ``double_booking``, a resource is taken by someone else in that time, or
            ``unknown_resource``.
    """
    try:
        with transaction.atomic():
            resources = _lock_resources(by.shop_id, wanted)
            Hold.objects.for_shop(by.shop_id).filter(step_id__in=list(step_ids)).delete()
            holds = _as_rows(by.shop_id, wanted, resources)
            for hold in holds:
                hold.save(force_insert=True)
    except IntegrityError as error:
        if not is_overlap(error):
            raise
        raise Conflict(
            "double_booking",
            "Somebody else has just taken what this needs.",
            detail="Nothing was changed. Ask for new offers and choose again.",
        ) from error
    return holds


def take_holds(*, by: Actor, wanted: Sequence[HoldWanted]) -> list[Hold]:
    """Take what is free, for no step: upkeep or floor closed off.

    Raises:
        Conflict: as ``replace_holds``.
    """
    return replace_holds(by=by, step_ids=(), wanted=wanted)


def _lock_resources(shop_id: int, wanted: Sequence[HoldWanted]) -> dict[tuple[str, str], int]:
    """The ids of the wanted resources by kind and code; nobody else can take one meanwhile."""
    mine = {(str(want.kind), want.code) for want in wanted}
    rows = (
        Resource.objects.for_shop(shop_id)
        .filter(code__in={code for _, code in mine})
        .order_by("id")
        .select_for_update(no_key=True)
    )
    return {(row.kind, row.code): row.pk for row in rows if (row.kind, row.code) in mine}


def _as_rows(
    shop_id: int, wanted: Sequence[HoldWanted], resources: Mapping[tuple[str, str], int]
) -> list[Hold]:
    unknown = sorted({w.code for w in wanted if (w.kind, w.code) not in resources})
    if unknown:
        raise Conflict("unknown_resource", f"The shop no longer has {', '.join(unknown)}.")
    holds = [
        Hold(
            shop_id=shop_id,
            resource_id=resources[want.kind, want.code],
            starts_at=want.starts_at,
            ends_at=want.ends_at,
            step_id=want.step_id,
            reason=want.reason,
            note=want.note,
        )
        for want in wanted
    ]
    return sorted(holds, key=lambda hold: (hold.resource_id, hold.starts_at))
