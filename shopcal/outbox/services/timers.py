"""The clock: rows that say what is due when, turned into messages."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from shopcal.outbox.models import OutboxMessage, Timer
from shopcal.outbox.registry import TimerRule, registry
from shopcal.outbox.services.messages import enqueue


def keep_timers() -> None:
    """Make a row for every registered timer; a changed interval counts from the next run."""
    known = dict(Timer.objects.values_list("name", "every_seconds"))
    for rule in list(registry.timers.values()):
        if rule.name not in known:
            Timer.objects.get_or_create(
                name=rule.name,
                defaults={"next_run_at": timezone.now(), "every_seconds": rule.every_seconds},
            )
        elif known[rule.name] != rule.every_seconds:
            soonest = timezone.now() + timedelta(seconds=rule.every_seconds)
            Timer.objects.filter(name=rule.name).update(every_seconds=rule.every_seconds)
            # A timer made shorter must not wait out the rest of its old, longer interval.
            Timer.objects.filter(name=rule.name, next_run_at__gt=soonest).update(
                next_run_at=soonest
            )


def fire_due_timers() -> int:
    """Owe a run of every timer that is due; how many were fired."""
    now = timezone.now()
    due = Timer.objects.filter(name__in=list(registry.timers), next_run_at__lte=now)
    return sum(_fire(row, registry.timers[row.name], now) for row in due)


def _fire(row: Timer, rule: TimerRule, now: datetime) -> bool:
    with transaction.atomic():
        # Conditional on the moment read: of several workers that saw it due, one moves it on.
        moved = Timer.objects.filter(pk=row.pk, next_run_at=row.next_run_at).update(
            next_run_at=next_run_after(row.next_run_at, rule.every_seconds, now)
        )
        if moved != 1 or OutboxMessage.objects.open().filter(kind=rule.kind).exists():
            return False
        due_at = row.next_run_at.isoformat()
        enqueue(
            kind=rule.kind, key=f"{rule.kind}:{due_at}", payload={"due_at": due_at}, shop_id=None
        )
        return True


def next_run_after(due_at: datetime, every_seconds: int, now: datetime) -> datetime:
    """The first moment after ``now`` on the timer's own beat; missed beats are not made up for."""
    beats = math.floor((now - due_at).total_seconds() / every_seconds) + 1
    return due_at + timedelta(seconds=max(beats, 1) * every_seconds)
