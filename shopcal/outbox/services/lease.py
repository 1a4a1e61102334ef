"""Who owns a message: claimed, renewed, finished or given back, always by conditional update."""

from __future__ import annotations

import os
import socket
import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import F
from django.utils import timezone

from shopcal.outbox.models import OutboxMessage
from shopcal.outbox.models.message import MessageQuerySet
from shopcal.outbox.registry import Finish, Message, registry
from shopcal.outbox.selectors.messages import claimable_ids

FIRST_WAIT_SECONDS = 5
LONGEST_WAIT_SECONDS = 1800
ERROR_LENGTH = 4000


class LeaseLost(RuntimeError):
    """The lease ran out and another worker owns the message; nothing of this attempt is kept."""


def claim_one(*, queues: Sequence[str] = (), only: int | None = None) -> Message | None:
    """Take the longest-due message, or message ``only``, under a new lease; None if there is none.

    One at a time: in a claimed batch the last ones' leases would run while the first are worked on.
    """
    now = timezone.now()
    kinds = list(registry.handlers)
    # A plain read first: an idle worker must not take the built-in database's one write lock.
    if not claimable_ids(kinds=kinds, moment=now, limit=1, only=only, queues=queues):
        return None
    with transaction.atomic():
        rows = OutboxMessage.objects.claimable_at(now).filter(kind__in=kinds)
        if only is not None:
            rows = rows.filter(pk=only)
        if queues:
            rows = rows.filter(queue__in=queues)
        if connection.features.has_select_for_update_skip_locked:
            # Among many, one that somebody is at is passed over. One asked for by name is waited
            # for: the relay that named it may still be writing down that it did.
            rows = rows.select_for_update(skip_locked=only is None)
        row = rows.order_by("run_at", "id").first()
        return None if row is None else _take(row, now)


def _take(row: OutboxMessage, now: datetime) -> Message | None:
    known = registry.handler_for(row.kind)
    # A new owner for every claim: a worker that was overtaken by its own later claim of the same
    # message must not be able to finish it.
    owner = f"{socket.gethostname()[:60]}:{os.getpid()}:{uuid.uuid4().hex}"
    # The condition is repeated: without row locks two workers may both have read this row.
    taken = (
        OutboxMessage.objects.claimable_at(now)
        .filter(pk=row.pk)
        .update(
            lease_owner=owner,
            lease_until=now + timedelta(seconds=known.lease_seconds),
            attempts=F("attempts") + 1,
        )
    )
    if taken != 1:
        return None
    return Message(
        id=row.pk,
        kind=row.kind,
        key=row.key,
        payload=row.payload,
        shop_id=row.shop_id,
        attempt=row.attempts + 1,
        owner=owner,
        created_at=row.created_at,
    )


def renew_lease(message: Message, *, seconds: int) -> None:
    """Ask for more time, from now.

    Raises:
        LeaseLost: another worker has taken the message over; stop.
    """
    until = timezone.now() + timedelta(seconds=seconds)
    if _owned(message).update(lease_until=until) != 1:
        raise LeaseLost(message.key)


def finish(message: Message, complete: Finish | None) -> None:
    """Write the result and mark the message done, in one transaction.

    The update comes first: it locks the row, so whoever else claims it waits, then finds it done.

    Raises:
        LeaseLost: another worker owns the message; nothing is written.
    """
    with transaction.atomic():
        owned = _owned(message).update(
            done_at=timezone.now(), lease_owner="", lease_until=None, last_error=""
        )
        if owned != 1:
            raise LeaseLost(message.key)
        if complete is not None:
            complete()


def give_back(message: Message, *, error: str, for_good: bool = False) -> bool:
    """Note a failed attempt: tried again later, or set aside after the last one.

    Returns:
        Whether it was set aside. A message owned by another worker by now is left alone.
    """
    now = timezone.now()
    dead = for_good or message.attempt >= registry.handler_for(message.kind).max_attempts
    _owned(message).update(
        lease_owner="",
        lease_until=None,
        published_at=None,
        last_error=error[-ERROR_LENGTH:],
        run_at=now + wait_after(message.attempt),
        dead_at=now if dead else None,
    )
    return dead


def wait_after(attempt: int) -> timedelta:
    """How long to wait after the first, second, ... attempt: 5 s, 10 s, 20 s, ... up to 30 min."""
    doublings = min(max(attempt, 1) - 1, 20)
    return timedelta(seconds=min(FIRST_WAIT_SECONDS * 2**doublings, LONGEST_WAIT_SECONDS))


def _owned(message: Message) -> MessageQuerySet:
    return OutboxMessage.objects.open().filter(pk=message.id, lease_owner=message.owner)
