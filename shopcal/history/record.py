"""Adds to the history."""

from __future__ import annotations

from typing import Any

from django.db import connections, router, transaction
from django.utils import timezone

from shopcal.accounts.actor import Actor
from shopcal.history.chain import FIRST_PREVIOUS
from shopcal.history.models import Event, ShopChain


def record_event(
    *,
    by: Actor,
    kind: str,
    subject: str,
    visit_id: int | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> Event:
    """Append one event to the shop's chain, in the caller's transaction.

    ``kind`` is a stable code (``visit.booked``), ``subject`` names the thing (``visit:12``),
    ``before`` and ``after`` hold plain values. Everyone else who writes in this shop waits from
    here until the transaction ends, so call it last.

    Raises:
        TransactionManagementError: called outside a transaction, where an event could outlive the
            change it tells of, or the change the event.
        TypeError, ValueError: ``before`` or ``after`` cannot be written as JSON.
    """
    chain = _locked_chain(by.shop_id)
    event = Event(
        shop_id=by.shop_id,
        seq=chain.seq + 1,
        at=timezone.now(),
        actor_name=by.name,
        actor_role=by.role.value if by.role else "",
        actor_user_id=by.user_id,
        actor_membership_id=by.membership_id,
        kind=kind,
        subject=subject,
        visit_id=visit_id,
        before=before,
        after=after,
        previous_hash=chain.head,
    )
    event.hash = event.expected_hash()
    event.save(force_insert=True)
    chain.seq, chain.head = event.seq, event.hash
    chain.save(update_fields=["seq", "head"])
    return event


def _locked_chain(shop_id: int) -> ShopChain:
    """The shop's chain, locked until the transaction ends.

    Two writers that read the same head would both continue from it. PostgreSQL locks the row;
    SQLite has one writer at a time from the start of the transaction (IMMEDIATE).
    """
    using = router.db_for_write(ShopChain)
    if not connections[using].in_atomic_block:
        raise transaction.TransactionManagementError(
            "An event is recorded in the transaction of the change it tells of."
        )
    ShopChain.objects.get_or_create(shop_id=shop_id, defaults={"seq": 0, "head": FIRST_PREVIOUS})
    return ShopChain.objects.select_for_update().get(shop_id=shop_id)
