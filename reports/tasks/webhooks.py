"""Turns new history into deliveries, and delivers."""

from __future__ import annotations

from reports.services.webhook_delivery import deliver
from reports.services.webhooks import DELIVER, fan_out
from shopcal.outbox import Message, handler, timer


# Every run is a row in the outbox, so a beat of one second would write 86,400 of them a day for a
# hint that nobody needs to the second.
@timer("webhooks.fan_out", every_seconds=5, queue="webhooks")
def fan_out_webhooks(message: Message) -> None:
    fan_out()


# 14 attempts stretch over about 3 hours: a receiver that is down longer has to ask for itself.
@handler(DELIVER, queue="webhooks", lease_seconds=60, max_attempts=14)
def deliver_webhook(message: Message) -> None:
    deliver(endpoint_id=message.payload["endpoint_id"], seq=message.payload["seq"])
