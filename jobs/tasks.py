"""What the clock does: keeps the plan in step with what really happens."""

from __future__ import annotations

from django.utils import timezone

from jobs.services.replans import watch_plan
from shopcal.accounts.models import Shop
from shopcal.outbox import Message, timer


@timer("plan.watch", every_seconds=60, queue="planning")
def keep_plans_current(message: Message) -> None:
    """Give running work more time and late starts a new one, in every shop.

    Safe to run twice: a plan that is in step already is left as it is.
    """
    for shop_id in Shop.objects.values_list("pk", flat=True):
        watch_plan(shop_id=shop_id, now=timezone.now())
