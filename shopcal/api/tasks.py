"""Answers to idempotency keys are forgotten after two days."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from shopcal.api.conf import KEPT_HOURS
from shopcal.api.idempotency import forget_keys_before
from shopcal.outbox import Message, timer


@timer("forget-idempotency-keys", every_seconds=3600)
def forget_old_keys(message: Message) -> None:
    """Delete what was kept longer than ``KEPT_HOURS``."""
    forget_keys_before(timezone.now() - timedelta(hours=KEPT_HOURS))
