"""The clock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.utils import timezone

from shopcal.outbox import Message, drain, timer
from shopcal.outbox.models import OutboxMessage, Timer
from shopcal.outbox.registry import registry
from shopcal.outbox.services import fire_due_timers, keep_timers
from shopcal.outbox.services.timers import next_run_after

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def runs() -> Iterator[list[str]]:
    handlers, timers = dict(registry.handlers), dict(registry.timers)
    registry.timers.clear()
    runs: list[str] = []

    @timer("test.minutely", every_seconds=60)
    def minutely(message: Message) -> None:
        runs.append(message.payload["due_at"])

    yield runs
    registry.handlers.clear()
    registry.handlers.update(handlers)
    registry.timers.clear()
    registry.timers.update(timers)


def test_a_timer_runs_once_each_interval(runs: list[str]) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        keep_timers()
        for _ in range(5):
            fire_due_timers()
            drain()
            clock.shift(30)
    assert runs == [(NOON + timedelta(minutes=n)).isoformat() for n in (0, 1, 2)]


def test_missed_ticks_are_not_made_up_for(runs: list[str]) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        keep_timers()
        fire_due_timers()
        clock.shift(timedelta(hours=3, seconds=20))
        drain()
        assert fire_due_timers() == 1
        drain()
        assert fire_due_timers() == 0
        assert Timer.objects.get().next_run_at == NOON + timedelta(hours=3, minutes=1)
    assert len(runs) == 2


def test_runs_do_not_pile_up_behind_one_that_is_still_owed(runs: list[str]) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        keep_timers()
        for _ in range(4):
            fire_due_timers()
            clock.shift(60)
        assert OutboxMessage.objects.count() == 1


def test_two_workers_that_saw_the_same_timer_due_fire_it_once() -> None:
    from shopcal.outbox.services import timers

    keep_timers()
    now = timezone.now()
    row, rule = Timer.objects.get(), registry.timers["test.minutely"]
    fired = [timers._fire(row, rule, now) for _ in ("one worker", "the other")]
    assert fired == [True, False]
    assert OutboxMessage.objects.count() == 1


def test_a_timer_made_shorter_does_not_wait_out_its_old_interval() -> None:
    Timer.objects.create(
        name="test.minutely", every_seconds=86400, next_run_at=timezone.now() + timedelta(hours=20)
    )
    keep_timers()
    row = Timer.objects.get()
    assert row.every_seconds == 60
    assert row.next_run_at <= timezone.now() + timedelta(seconds=60)


def test_keeping_timers_twice_changes_nothing() -> None:
    keep_timers()
    before = Timer.objects.get().next_run_at
    keep_timers()
    assert Timer.objects.get().next_run_at == before


@pytest.mark.parametrize(
    ("seconds_late", "next_after"),
    [
        (0, 60),  # on the dot
        (59.9, 60),
        (60, 120),  # the next beat is now: it counts as this one
        (601, 660),
    ],
)
def test_the_next_run_keeps_the_beat(seconds_late: float, next_after: int) -> None:
    late = NOON + timedelta(seconds=seconds_late)
    assert next_run_after(NOON, 60, late) == NOON + timedelta(seconds=next_after)
