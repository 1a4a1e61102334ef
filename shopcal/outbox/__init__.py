"""What must happen after a commit: written in the same transaction, delivered later, never lost.

    enqueue(kind="mail.send", key="reminder:12", shop_id=3, payload={...})   # in a service

    @handler("mail.send", queue="mail")                                      # in <app>/tasks
    def send(message: Message) -> Callable[[], None] | None: ...

    @timer("upkeep.remind", every_seconds=3600)
    def remind(message: Message) -> Callable[[], None] | None: ...

A handler runs outside any transaction and may run more than once; the callable it returns runs in
the transaction that marks the message done, so what that callable writes is written exactly once.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any

from shopcal.outbox.registry import (
    Finish,
    GiveUp,
    Message,
    UnknownKind,
    handler,
    timer,
)

if TYPE_CHECKING:
    from shopcal.outbox.services.deliver import Drained

__all__ = [
    "Finish",
    "GiveUp",
    "Message",
    "UnknownKind",
    "drain",
    "enqueue",
    "handler",
    "timer",
]


def enqueue(
    *,
    kind: str,
    payload: Mapping[str, Any],
    key: str,
    shop_id: int | None,
    run_at: datetime | None = None,
    queue: str = "",
) -> None:
    """See ``shopcal.outbox.services.messages.enqueue``; models can't be imported at start-up."""
    from shopcal.outbox.services.messages import enqueue as write

    write(kind=kind, payload=payload, key=key, shop_id=shop_id, run_at=run_at, queue=queue)


def drain(limit: int = 100) -> Drained:
    """See ``shopcal.outbox.services.deliver.drain``."""
    from shopcal.outbox.services.deliver import drain as run

    return run(limit)
