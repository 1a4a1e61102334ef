"""Try a transaction again when the database, not the request, was in the way."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from typing import TypeVar

from django.db import OperationalError, connection

Answer = TypeVar("Answer")

ATTEMPTS = 5
FIRST_WAIT_SECONDS = 0.05


def retried(work: Callable[[], Answer]) -> Answer:
    """Run ``work``, which opens its own transaction, again after a deadlock or a lock timeout.

    Inside somebody else's transaction it runs once: only the outermost one can be tried again.

    Raises:
        OperationalError: the last attempt failed too.
    """
    if connection.in_atomic_block:
        return work()
    for attempt in range(1, ATTEMPTS):
        try:
            return work()
        except OperationalError:
            # Random, so that two transactions in each other's way do not meet again.
            time.sleep(FIRST_WAIT_SECONDS * 2**attempt * random.random())  # noqa: S311
    return work()
