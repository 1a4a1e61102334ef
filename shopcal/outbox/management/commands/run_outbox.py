"""Delivers what is owed, until stopped."""

from __future__ import annotations

import os
import threading
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from shopcal.outbox import loop


class Command(BaseCommand):
    help = "Deliver outbox messages and watch the clock, until stopped. Any number may run at once."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--wake-seconds",
            type=float,
            default=loop.WAKE_SECONDS,
            help="how often to look for work when there was none (default %(default)s)",
        )
        parser.add_argument(
            "--queue",
            action="append",
            default=[],
            metavar="NAME",
            help="handle only messages of this queue; may be given more than once",
        )
        parser.add_argument(
            "--nice",
            type=int,
            default=0,
            help="give way to other processes by so much (default %(default)s, at most 19)",
        )

        parser.add_argument(
            "--drop",
            action="store_true",
            help="when told to stop, do not finish the message in hand: it is done again later",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        os.nice(options["nice"])
        stopping = threading.Event()
        if options["drop"]:
            loop.run(stopping, wake_seconds=options["wake_seconds"], queues=options["queue"])
            return
        undo = loop.stop_on_signals(stopping)
        try:
            loop.run(stopping, wake_seconds=options["wake_seconds"], queues=options["queue"])
        finally:
            undo()
