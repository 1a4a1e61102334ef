"""Runs the whole service on one machine."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from shopcal.database import GuardsMissing, require_guards
from shopcal.outbox.registry import BACKGROUND, PROMPT, TICK_QUEUE
from shopcal.outbox.supervisor import Child, Supervisor

WORKERS_ON_SQLITE = 2  # pages read side by side; writes take turns whatever the number
THREADS_A_WORKER = 4


class Command(BaseCommand):
    help = "Serve pages, live events and the outbox; a process that dies is started again."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000, help="port of the pages")
        parser.add_argument(
            "--live-port", type=int, default=settings.LIVE_PORT, help="port of the live events"
        )
        parser.add_argument(
            "--workers", type=int, default=WORKERS_ON_SQLITE, help="processes that serve pages"
        )
        parser.add_argument(
            "--threads", type=int, default=THREADS_A_WORKER, help="threads in each of them"
        )
        parser.add_argument(
            "--no-outbox", action="store_true", help="leave the outbox to workers elsewhere"
        )
        parser.add_argument(
            "--with-workers",
            action="store_true",
            help="also run a Celery worker and beat (needs REDIS_URL)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if options["with_workers"] and not settings.REDIS_URL:
            raise CommandError(
                "--with-workers needs REDIS_URL; without it the outbox needs no Celery."
            )
        _require_ready_database()
        host, port = options["host"], options["port"]
        self.stdout.write(f"Pages: http://{_spoken(host)}:{port}/   stop with Ctrl-C")
        self.stdout.write(f"Live events: port {options['live_port']}")
        children = _children(options)
        if not any(child.name in ("outbox", "beat") for child in children):
            self.stdout.write("No outbox here: Celery worker and beat must run elsewhere.")
        self.stdout.flush()
        Supervisor(children, say=self._say).run()

    def _say(self, line: str) -> None:
        self.stderr.write(f"serve: {line}")


def _require_ready_database() -> None:
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise CommandError(
            "The database is not up to date: run “manage.py migrate”, then start again."
        )
    try:
        require_guards()
    except GuardsMissing as fault:
        raise CommandError(str(fault)) from fault
    connection.close()


def _children(options: dict[str, Any]) -> list[Child]:
    environment = {
        "SHOPCAL_LIVE_PORT": str(options["live_port"]),
        # Where nothing is named, people reach the pages on the port given here.
        "SHOPCAL_PUBLIC_URL": os.environ.get("SHOPCAL_PUBLIC_URL")
        or f"http://localhost:{options['port']}",
    }
    commands = {"pages": _pages(options), "live": _live(options)}
    if options["with_workers"]:
        celery = [sys.executable, "-m", "celery", "--app", "shopcal.celery", "--quiet"]
        worker = [*celery, "worker", "--loglevel", "WARNING", "--hostname"]
        prompt = ",".join((*PROMPT, TICK_QUEUE))
        commands["worker"] = [*worker, "prompt@%h", "--concurrency", "2", "--queues", prompt]
        background = [*worker, "background@%h", "--pool", "solo", "--queues", BACKGROUND]
        commands["background"] = ["nice", *background]
        commands["beat"] = [*celery, "beat", "--loglevel", "WARNING"]
    elif not settings.REDIS_URL and not options["no_outbox"]:
        manage = str(Path(settings.BASE_DIR) / "manage.py")
        run = [sys.executable, manage, "run_outbox"]
        commands["outbox"] = [*run, *(f"--queue={name}" for name in PROMPT)]
        commands["background"] = [*run, f"--queue={BACKGROUND}", "--nice=10", "--drop"]
    return [Child(name, command, environment) for name, command in commands.items()]


def _pages(options: dict[str, Any]) -> list[str]:
    return [
        *(sys.executable, "-m", "granian", "--interface", "wsgi"),
        *("--host", options["host"], "--port", str(options["port"])),
        *("--workers", str(options["workers"])),
        *("--blocking-threads", str(options["threads"])),
        *("--workers-kill-timeout", "5", "--respawn-failed-workers"),
        *("--no-ws", "--log-level", "warning", "shopcal.wsgi:application"),
    ]


def _live(options: dict[str, Any]) -> list[str]:
    return [
        *(sys.executable, "-m", "uvicorn", "shopcal.live.asgi:application"),
        *("--host", options["host"], "--port", str(options["live_port"])),
        *("--no-access-log", "--log-level", "warning"),
        *("--timeout-graceful-shutdown", "3"),
    ]


def _spoken(host: str) -> str:
    return "localhost" if host in ("0.0.0.0", "127.0.0.1", "::") else host  # noqa: S104
