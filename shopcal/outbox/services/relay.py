"""Tells a broker which messages can be handled. Used only where one is named.

The broker carries ids, nothing else: what it loses is told again, what it delivers twice is claimed
once. Pages never speak to it, so a broker that is down delays work and stops nobody.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import structlog
from django.db.models import F, Q
from django.utils import timezone

from shopcal.outbox.models import OutboxMessage
from shopcal.outbox.registry import registry

log = structlog.get_logger("shopcal.outbox")

BATCH = 500
TELL_AGAIN_SECONDS = 120  # the broker may have lost it; twice as long as an id lives there

Publish = Callable[[int, str], None]


def relay(publish: Publish, *, limit: int = BATCH) -> int:
    """Publish the ids of due messages that nobody is at and that were not told lately.

    Marked as told only after the broker took them: a crash in between tells twice, which is
    harmless, instead of never.

    Returns:
        How many were published.
    """
    now = timezone.now()
    not_told = (
        Q(published_at__isnull=True)
        | Q(published_at__lt=now - timedelta(seconds=TELL_AGAIN_SECONDS))
        # A lease that ran out means a lost worker: tell again at once.
        | Q(lease_until__isnull=False, published_at__lt=F("lease_until"))
    )
    owed = list(
        OutboxMessage.objects.claimable_at(now)
        .filter(not_told, kind__in=list(registry.handlers))
        .order_by("run_at", "id")
        .values_list("pk", "queue")[:limit]
    )
    told: list[int] = []
    try:
        for message_id, queue in owed:
            publish(message_id, queue)
            told.append(message_id)
    except OSError as fault:
        log.warning("outbox.broker_away", fault=str(fault), told=len(told), owed=len(owed))
    OutboxMessage.objects.filter(pk__in=told).update(published_at=now)
    return len(told)
