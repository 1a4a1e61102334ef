"""Messages by what has become of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from shopcal.outbox.models import OutboxMessage


def claimable_ids(
    *,
    kinds: Sequence[str],
    moment: datetime,
    limit: int,
    only: int | None = None,
    queues: Sequence[str] = (),
) -> list[int]:
    """Ids of due messages nobody is working on, longest due first."""
    rows = OutboxMessage.objects.claimable_at(moment).filter(kind__in=kinds)
    if only is not None:
        rows = rows.filter(pk=only)
    if queues:
        rows = rows.filter(queue__in=queues)
    return list(rows.order_by("run_at", "id").values_list("pk", flat=True)[:limit])


def dead_messages(*, shop_id: int | None = None) -> QuerySet[OutboxMessage, OutboxMessage]:
    """Messages set aside after too many attempts, newest first; all shops' when none is given."""
    rows = OutboxMessage.objects.filter(dead_at__isnull=False).order_by("-dead_at", "-id")
    return rows if shop_id is None else rows.filter(shop_id=shop_id)


def owed_messages(*, shop_id: int | None = None) -> QuerySet[OutboxMessage, OutboxMessage]:
    """Messages still owed, soonest due first; all shops' when none is given."""
    rows = OutboxMessage.objects.open().order_by("run_at", "id")
    return rows if shop_id is None else rows.filter(shop_id=shop_id)


def seconds_behind(*, moment: datetime | None = None) -> float:
    """How long the longest-waiting claimable message has been due; 0 when nothing waits.

    Includes kinds no worker here knows, so a missing worker shows.
    """
    now = moment or timezone.now()
    oldest: Any = (
        OutboxMessage.objects.claimable_at(now)
        .order_by("run_at")
        .values_list("run_at", flat=True)
        .first()
    )
    return 0.0 if oldest is None else float((now - oldest).total_seconds())
