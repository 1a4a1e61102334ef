"""Reminds a shop of upkeep by mail, once a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Final

from django.conf import settings

from bays.selectors.equipment import UnitDue
from bays.upkeep import DueState
from reports.selectors.reminders import upkeep_to_remind
from shopcal.accounts.models import Shop
from shopcal.outbox import enqueue
from shopcal.outbox.services.mail import Mail, queue_mail

REMIND: Final = "upkeep.remind_shop"
AT: Final = time(7, 0)  # on the shop's clock, before its day begins


def owe_reminders(now: datetime) -> int:
    """Owe today's look at upkeep to every shop whose clock has passed seven; how many were due.

    The day's key is owed once, however often this runs. A service that was down at seven makes up
    for it the same day.
    """
    due = 0
    for shop in Shop.objects.exclude(email=""):
        local = now.astimezone(shop.zone)
        if local.time() < AT:
            continue
        due += 1
        day = local.date().isoformat()
        enqueue(
            kind=REMIND,
            key=f"upkeep-reminder:{shop.pk}:{day}",
            shop_id=shop.pk,
            payload={"shop_id": shop.pk, "day": day},
        )
    return due


def remind_shop(*, shop_id: int, day: date) -> bool:
    """Owe the mail of one day, in the caller's transaction; whether there was anything to say."""
    shop = Shop.objects.get(pk=shop_id)
    rows = upkeep_to_remind(shop_id, day)
    if not rows or not shop.email:
        return False
    overdue = sum(row.due.state is DueState.OVERDUE for row in rows)
    queue_mail(
        Mail(to=[shop.email], subject=_subject(overdue, len(rows)), text=_text(shop, rows)),
        key=f"upkeep-mail:{shop_id}:{day.isoformat()}",
        shop_id=shop_id,
    )
    return True


def _subject(overdue: int, count: int) -> str:
    soon = count - overdue
    parts = [f"{overdue} overdue"] if overdue else []
    if soon:
        parts.append(f"{soon} due soon")
    return f"Upkeep: {', '.join(parts)}"


def _text(shop: Shop, rows: Sequence[UnitDue]) -> str:
    lines = [f"Equipment of {shop.name} that needs care:", ""]
    for row in rows:
        serial = f" (serial {row.unit.serial})" if row.unit.serial else ""
        lines.append(f"- {row.unit.name}{serial}, {row.rule.name}: {row.due.says}")
    lines += [
        "",
        "What is overdue cannot be booked, and a run with it needs a manager's reason.",
        f"{settings.PUBLIC_URL}/equipment/",
    ]
    return "\n".join(lines) + "\n"
