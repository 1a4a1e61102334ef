"""Forgets what was done long ago."""

from __future__ import annotations

from shopcal.outbox.registry import Message, timer
from shopcal.outbox.services.messages import prune_messages


@timer("outbox.prune", every_seconds=3600)
def prune(message: Message) -> None:
    prune_messages()
