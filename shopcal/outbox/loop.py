"""The worker of a machine without a broker: one loop that watches the clock and the outbox."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Sequence
from types import FrameType

import structlog
from django import db

from shopcal.outbox.services.deliver import drain
from shopcal.outbox.services.timers import fire_due_timers, keep_timers

log = structlog.get_logger("shopcal.outbox")

WAKE_SECONDS = 0.25
TIMERS_SECONDS = 1.0  # timers are no finer than this
BATCH = 50  # the clock is looked at in between, however much is owed
LONGEST_REST_SECONDS = 5.0


def run(
    stopping: threading.Event, *, wake_seconds: float = WAKE_SECONDS, queues: Sequence[str] = ()
) -> None:
    """Deliver until ``stopping`` is set. A database that goes away is waited for, not died of."""
    faults = 0
    timers_kept = False
    timers_looked_at = float("-inf")
    while not stopping.is_set():
        busy = False
        try:
            if not timers_kept:
                keep_timers()
                timers_kept = True
            if time.monotonic() - timers_looked_at >= TIMERS_SECONDS:
                timers_looked_at = time.monotonic()
                fire_due_timers()
            busy = drain(BATCH, queues=queues).handled == BATCH
            faults = 0
        except (db.OperationalError, db.InterfaceError, db.InternalError) as fault:
            faults += 1
            log.warning("outbox.database_away", fault=str(fault), times=faults)
            db.close_old_connections()
        if not busy:
            stopping.wait(min(wake_seconds * (1 + faults), LONGEST_REST_SECONDS))


def stop_on_signals(stopping: threading.Event) -> Callable[[], None]:
    """Have SIGTERM and SIGINT end the loop after the message in hand; returns the undoing."""

    def stop(number: int, frame: FrameType | None) -> None:
        stopping.set()

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}

    def undo() -> None:
        for number, former in before.items():
            signal.signal(number, former)

    return undo
