"""Delete the kept answers to idempotency keys that are older than so many hours."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from shopcal.api.conf import KEPT_HOURS
from shopcal.api.idempotency import forget_keys_before


class Command(BaseCommand):
    help = "Delete the kept answers to idempotency keys that are older than so many hours."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--hours", type=int, default=KEPT_HOURS)

    def handle(self, *args: Any, **options: Any) -> None:
        gone = forget_keys_before(timezone.now() - timedelta(hours=options["hours"]))
        self.stdout.write(f"{gone} forgotten")
