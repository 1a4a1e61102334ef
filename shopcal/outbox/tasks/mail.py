"""Sends mail."""

from __future__ import annotations

from shopcal.outbox.registry import Message, handler
from shopcal.outbox.services.mail import KIND, send_mail


# 60 attempts stretch over a day, for a mail server that is down over night.
@handler(KIND, queue="mail", lease_seconds=120, max_attempts=60)
def deliver_mail(message: Message) -> None:
    send_mail(message)
