"""Reminds a shop of upkeep by mail, once a day."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Final

from django.conf import settings

from bays.selectors.equipment import UnitDue
from bays.selectors.surveys import SurveyDue
from bays.upkeep import DueState
from reports.selectors.reminders import surveys_to_remind, upkeep_to_remind
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
    rows, surveys = upkeep_to_remind(shop_id, day), surveys_to_remind(shop_id, day)
    if not (rows or surveys) or not shop.email:
        return False
    states = [row.due.state for row in rows] + [row.state for row in surveys]
    subject = _subject(states.count(DueState.OVERDUE), len(states))
    queue_mail(
        Mail(to=[shop.email], subject=subject, text=_text(shop, rows, surveys)),
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


def _text(shop: Shop, rows: Sequence[UnitDue], surveys: Sequence[SurveyDue]) -> str:
    lines = []
    if rows:
        lines += [f"Equipment of {shop.name} that needs care:", ""]
    for row in rows:
        serial = f" (serial {row.unit.serial})" if row.unit.serial else ""
        lines.append(f"- {row.unit.name}{serial}, {row.rule.name}: {row.due.says}")
    if rows:
        lines += [
            "",
            "What is overdue cannot be booked, and a run with it needs a manager's reason.",
            f"{settings.PUBLIC_URL}/equipment/",
            "",
        ]
    if surveys:
        lines += [f"The floor of {shop.name} is to be read again:", ""]
        lines += [f"- {due.name}, {due.survey.instrument}: {due.says}" for due in surveys]
        lines += [
            "",
            "By an overdue survey nothing is said to be level or lit enough.",
            f"{settings.PUBLIC_URL}/setup/surveys/",
        ]
    return "\n".join(lines).rstrip() + "\n"
