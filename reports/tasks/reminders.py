"""Looks at upkeep once a day for every shop."""

from __future__ import annotations

from datetime import date

from django.utils import timezone

from reports.services.reminders import REMIND, owe_reminders, remind_shop
from shopcal.outbox import Finish, Message, handler, timer


@timer("upkeep.remind", every_seconds=300)
def remind(message: Message) -> None:
    owe_reminders(timezone.now())


@handler(REMIND, queue="mail")
def remind_one_shop(message: Message) -> Finish:
    """The mail is owed in the transaction that marks the day's look as done."""
    shop_id = message.payload["shop_id"]
    day = date.fromisoformat(message.payload["day"])

    def finish() -> None:
        remind_shop(shop_id=shop_id, day=day)

    return finish
