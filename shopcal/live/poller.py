"""Asks the database what is new, once for all listeners of the process."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import structlog
from django import db

from shopcal.live import feed
from shopcal.live.hub import Hub

log = structlog.get_logger("shopcal.live")

POLL_SECONDS = 0.2
LONGEST_REST_SECONDS = 5.0

Answer = TypeVar("Answer")


class Poller:
    """Reads in a thread of its own, which keeps its one database connection."""

    def __init__(self, hub: Hub, *, poll_seconds: float = POLL_SECONDS) -> None:
        self.hub = hub
        self.poll_seconds = poll_seconds
        self.away_since: float | None = None
        self._thread = ThreadPoolExecutor(max_workers=1, thread_name_prefix="live-feed")

    async def ask(self, question: Callable[..., Answer], *facts: object) -> Answer:
        """Ask the database off the event loop."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._thread, _asked, question, facts)

    async def run(self) -> None:
        """Poll until cancelled; without listeners the database is left in peace."""
        faults = 0
        while True:
            rest = min(self.poll_seconds * (1 + faults), LONGEST_REST_SECONDS)
            await asyncio.sleep(rest)
            if not self.hub.positions:
                continue
            try:
                self.hub.publish(await self.ask(feed.hints_of_shops, dict(self.hub.positions)))
            except db.Error as fault:
                faults += 1
                self.away_since = self.away_since or time.monotonic()
                log.warning("live.database_away", fault=str(fault), times=faults)
            else:
                faults = 0
                self.away_since = None

    def close(self) -> None:
        self._thread.submit(db.connections.close_all)
        self._thread.shutdown(wait=True)


def _asked(question: Callable[..., Answer], facts: tuple[object, ...]) -> Answer:
    try:
        return question(*facts)
    except db.Error:
        db.close_old_connections()
        raise
