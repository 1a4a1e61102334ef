"""Writing what is owed, and looking after what was set aside."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import Q
from django.utils import timezone

from shopcal.outbox.models import OutboxMessage
from shopcal.outbox.registry import TIMER_KIND, registry, require_queue

KEPT_DAYS = 90  # a key can be used again once its message is pruned
TIMER_RUNS_KEPT_DAYS = 1


def enqueue(
    *,
    kind: str,
    payload: Mapping[str, Any],
    key: str,
    shop_id: int | None,
    run_at: datetime | None = None,
    queue: str = "",
) -> None:
    """Owe a message, as part of the caller's transaction: if that rolls back, nothing is owed.

    ``key`` names the thing owed; owing it again, even at the same moment elsewhere, changes
    nothing. ``payload`` is JSON: pass ids, not data, and read the data when the message is handled.
    ``queue`` is the handler's own unless given.

    Raises:
        UnknownKind: no handler is registered for ``kind``. ValueError: there is no such queue.
    """
    known = registry.handler_for(kind)
    require_queue(queue or known.queue)
    message = OutboxMessage(
        kind=kind,
        payload=dict(payload),
        key=key,
        shop_id=shop_id,
        run_at=run_at or timezone.now(),
        queue=queue or known.queue,
    )
    # Two transactions owing one key both succeed: a unique violation would break the caller's.
    OutboxMessage.objects.bulk_create([message], ignore_conflicts=True)


def revive_message(*, message_id: int, shop_id: int | None = None) -> bool:
    """Try a message that was set aside again, with a fresh count of attempts.

    Returns:
        Whether there was such a message, set aside, of that shop (of any when none is given).
    """
    rows = OutboxMessage.objects.filter(pk=message_id, dead_at__isnull=False)
    if shop_id is not None:
        rows = rows.filter(shop_id=shop_id)
    revived = rows.update(
        dead_at=None, attempts=0, run_at=timezone.now(), published_at=None, lease_until=None
    )
    return revived == 1


def prune_messages(*, limit: int = 5000) -> int:
    """Delete messages done long ago. What is owed or was set aside stays.

    In portions, so that the one writer of the built-in database is never kept long.
    """
    now = timezone.now()
    old = Q(done_at__lt=now - timedelta(days=KEPT_DAYS)) | Q(
        kind__startswith=TIMER_KIND, done_at__lt=now - timedelta(days=TIMER_RUNS_KEPT_DAYS)
    )
    ids = list(OutboxMessage.objects.filter(old).values_list("pk", flat=True)[:limit])
    most = connection.features.max_query_params or len(ids) or 1
    for start in range(0, len(ids), min(most, 500)):
        OutboxMessage.objects.filter(pk__in=ids[start : start + min(most, 500)]).delete()
    return len(ids)
