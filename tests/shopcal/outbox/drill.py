"""A worker with handlers made for drills, run as a process: ``python -m … work`` or ``… owe``.

It is the service's own loop; only the handlers and the length of the leases are the drill's.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import threading
import time
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopcal.settings")
django.setup()

from django.db import connection, transaction  # noqa: E402

from shopcal.outbox import loop  # noqa: E402
from shopcal.outbox.registry import Finish, Message, handler, registry  # noqa: E402
from shopcal.outbox.services import Mail, deliver, enqueue, queue_mail  # noqa: E402

LEASE_SECONDS = 1
QUICK_SECONDS = 0.02  # so that no worker is through with everything before another has begun


def noted(message: Message) -> Finish:
    def note() -> None:
        with connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO drill_result (result, attempt, process) VALUES (%s, %s, %s)",
                [message.key, message.attempt, os.getpid()],
            )

    return note


@handler("drill.quick", lease_seconds=LEASE_SECONDS)
def quick(message: Message) -> Finish:
    time.sleep(QUICK_SECONDS)
    return noted(message)


@handler("drill.stuck", queue="planning", lease_seconds=LEASE_SECONDS)
def stuck(message: Message) -> Finish:
    """Hangs in its first attempt, as work that is killed in the middle."""
    if message.attempt == 1:
        Path(message.payload["mark"]).write_text(message.key)
        time.sleep(60)
    return noted(message)


def work(arguments: argparse.Namespace) -> None:
    for kind, known in list(registry.handlers.items()):
        registry.handlers[kind] = dataclasses.replace(known, lease_seconds=LEASE_SECONDS)
    if arguments.stall:
        deliver.finish = stall(Path(arguments.stall))
    stopping = threading.Event()
    loop.stop_on_signals(stopping)
    if arguments.ready:
        Path(arguments.ready).touch()
    loop.run(stopping, wake_seconds=0.05)


def stall(mark: Path) -> Any:
    """Hang instead of finishing; timers, which may come first, finish as ever."""
    proper = deliver.finish

    def finish(message: Message, complete: Finish | None) -> None:
        if message.kind.startswith("timer:"):
            proper(message, complete)
            return
        mark.write_text(message.key)
        time.sleep(60)

    return finish


def owe(arguments: argparse.Namespace) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "CREATE TABLE IF NOT EXISTS drill_result"
            " (result text, attempt integer, process integer)"
        )
    began = time.monotonic()
    with transaction.atomic():
        for number in range(arguments.first, arguments.first + arguments.count):
            if arguments.kind == "mail.send":
                queue_mail(
                    Mail(["sela@example.test"], f"Your vehicle is ready ({number})", "Come by."),
                    key=f"mail-{number}",
                    shop_id=None,
                )
            else:
                payload = {"mark": arguments.mark}
                enqueue(kind=arguments.kind, payload=payload, key=f"owed-{number}", shop_id=None)
    print(time.monotonic() - began)


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    acts = parser.add_subparsers(required=True)
    working = acts.add_parser("work")
    working.add_argument("--stall", default="")
    working.add_argument("--ready", default="", help="file to make when the loop begins")
    working.set_defaults(act=work)
    owing = acts.add_parser("owe")
    owing.add_argument("kind")
    owing.add_argument("--count", type=int, default=1)
    owing.add_argument("--first", type=int, default=0)
    owing.add_argument("--mark", default="")
    owing.set_defaults(act=owe)
    given = parser.parse_args()
    given.act(given)
