"""Handling one message after the other."""

from __future__ import annotations

import traceback
from collections.abc import Sequence
from dataclasses import dataclass

import structlog

from shopcal.outbox.registry import GiveUp, Message, registry
from shopcal.outbox.services.lease import LeaseLost, claim_one, finish, give_back

log = structlog.get_logger("shopcal.outbox")


@dataclass(frozen=True)
class Drained:
    """How many messages were handled, and how many of these failed."""

    handled: int = 0
    failed: int = 0

    def __bool__(self) -> bool:
        return self.handled > 0


def drain(limit: int = 100, *, queues: Sequence[str] = ()) -> Drained:
    """Handle due messages, longest due first, until none is left or ``limit`` were handled."""
    handled = failed = 0
    while handled < limit:
        message = claim_one(queues=queues)
        if message is None:
            break
        handled += 1
        failed += not _handle(message)
    return Drained(handled, failed)


def run_message(message_id: int) -> bool:
    """Handle this message if it is due and nobody else is at it; whether it was done here."""
    message = claim_one(only=message_id)
    return message is not None and _handle(message)


def _handle(message: Message) -> bool:
    known = registry.handler_for(message.kind)
    if message.attempt > known.max_attempts:
        # The last allowed attempt neither finished nor failed: it took its worker with it.
        give_back(message, error="The worker was lost during the last attempt.", for_good=True)
        log.error("outbox.set_aside", kind=message.kind, key=message.key)
        return False
    try:
        finish(message, known.handle(message))
    except LeaseLost:
        log.warning("outbox.lease_lost", kind=message.kind, key=message.key)
        return False
    except GiveUp as reason:
        give_back(message, error=str(reason), for_good=True)
        log.error("outbox.set_aside", kind=message.kind, key=message.key, reason=str(reason))
        return False
    except Exception:  # whatever a handler raises, the message is kept with what went wrong
        dead = give_back(message, error=traceback.format_exc())
        event = "outbox.set_aside" if dead else "outbox.attempt_failed"
        log.warning(
            event, kind=message.kind, key=message.key, attempt=message.attempt, exc_info=True
        )
        return False
    return True
