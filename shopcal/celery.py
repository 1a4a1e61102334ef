"""The Celery application, used where a broker is named: ``celery -A shopcal.celery worker``.

Two tasks only. ``tick`` is sent by beat and asks what is owed; ``run`` handles one message by id,
under its lease. The lease in the database decides who owns the work: a task delivered twice, late
or again after a killed worker finds the message taken or done and does nothing.
"""

from __future__ import annotations

import os

from celery import Celery
from kombu.entity import Queue

from shopcal.outbox.registry import QUEUES, TICK_QUEUE

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")

TICK_SECONDS = 0.5
RUN_LIVES_SECONDS = 60

app = Celery("shopcal")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.conf.update(
    # A worker started without --queues listens to all of them.
    task_queues=[
        Queue(name)  # type: ignore[no-untyped-call]
        for name in (*QUEUES, TICK_QUEUE)
    ],
    # Nothing on disk: when a timer is due is kept in the database, and a missed tick is no loss.
    beat_scheduler="celery.beat:Scheduler",
    beat_schedule={
        "tick": {
            "task": "shopcal.tick",
            "schedule": TICK_SECONDS,
            "options": {"queue": TICK_QUEUE, "expires": 4 * TICK_SECONDS},
        }
    },
    worker_hijack_root_logger=False,
    broker_connection_max_retries=None,  # however long the broker is away, wait for it
)


@app.task(name="shopcal.run")
def run(message_id: int) -> None:
    from shopcal.outbox.services.deliver import run_message

    run_message(message_id)


@app.task(name="shopcal.tick")
def tick() -> None:
    from kombu.exceptions import OperationalError

    from shopcal.outbox.services.relay import relay
    from shopcal.outbox.services.timers import fire_due_timers, keep_timers

    def publish(message_id: int, queue: str) -> None:
        try:
            run.apply_async((message_id,), queue=queue, retry=False, expires=RUN_LIVES_SECONDS)
        except OperationalError as fault:
            raise ConnectionError(str(fault)) from fault

    keep_timers()
    fire_due_timers()
    relay(publish)
