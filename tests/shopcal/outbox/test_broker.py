"""With a broker: Redis carries ids, the database owns the work."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
import redis

from tests.shopcal.machine import Machine, free_port, wait_until

pytestmark = pytest.mark.service
DRILL = ("-m", "tests.shopcal.outbox.drill")
CELERY = ("-m", "celery", "--app", "shopcal.celery", "--quiet")
DONE = "SELECT count(*) FROM outbox_outboxmessage WHERE done_at IS NOT NULL AND kind LIKE 'drill%'"
RESULTS = "SELECT result, attempt FROM drill_result ORDER BY result"


@dataclass
class Broker:
    """A Redis of its own, which keeps nothing when it is stopped."""

    folder: Path
    port: int
    process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        program = shutil.which("redis-server")
        assert program, "redis-server is not installed"
        options = ("--port", str(self.port), "--save", "", "--dir", str(self.folder))
        self.process = subprocess.Popen(
            [program, *options], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        with closing(redis.Redis(port=self.port)) as client:
            wait_until(lambda: self.answers(client))

    def answers(self, client: redis.Redis) -> bool:
        try:
            return bool(client.ping())
        except redis.ConnectionError:
            return False

    def stop(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    made = Broker(tmp_path, free_port())
    made.start()
    yield made
    made.stop()


@pytest.fixture
def crew(server_machine: Machine, broker: Broker) -> Machine:
    """PostgreSQL, Redis, and Celery's worker and beat."""
    server_machine.environment["REDIS_URL"] = f"redis://127.0.0.1:{broker.port}/0"
    start_worker(server_machine)
    server_machine.start(*CELERY, "beat", "--loglevel", "ERROR")
    return server_machine


def start_worker(machine: Machine) -> subprocess.Popen[str]:
    return machine.start(
        *(*CELERY, "worker", "--concurrency", "2", "--loglevel", "ERROR"),
        *("--include", "tests.shopcal.outbox.drill", "--without-gossip", "--without-mingle"),
    )


def done(machine: Machine) -> int:
    return int(machine.rows(DONE)[0][0])


def test_what_is_owed_is_delivered_through_the_broker(crew: Machine) -> None:
    crew.run(*DRILL, "owe", "drill.quick", "--count", "50")
    wait_until(lambda: done(crew) == 50, seconds=40)
    assert len(crew.rows("SELECT DISTINCT result FROM drill_result")) == 50
    waits = "SELECT extract(epoch FROM done_at - created_at) FROM outbox_outboxmessage"
    spent = sorted(float(wait) for (wait,) in crew.rows(f"{waits} WHERE kind LIKE 'drill%'"))
    print(f"50 messages: median {spent[25]:.2f} s, longest {spent[-1]:.2f} s")


def test_a_broker_that_is_down_delays_and_loses_nothing(crew: Machine, broker: Broker) -> None:
    crew.run(*DRILL, "owe", "drill.quick")
    wait_until(lambda: done(crew) == 1, seconds=40)
    broker.stop()
    spent = crew.run(*DRILL, "owe", "drill.quick", "--count", "20", "--first", "100")
    assert float(spent) < 1, "owing waited for the broker"
    time.sleep(2)
    assert done(crew) == 1
    broker.start()
    began = time.monotonic()
    wait_until(lambda: done(crew) == 21, seconds=60)
    print(f"delivered {time.monotonic() - began:.1f} s after the broker came back")
    assert len(crew.rows("SELECT DISTINCT result FROM drill_result")) == 21


def test_work_of_a_killed_celery_worker_is_done_again_and_kept_once(
    server_machine: Machine, broker: Broker, tmp_path: Path
) -> None:
    server_machine.environment["REDIS_URL"] = f"redis://127.0.0.1:{broker.port}/0"
    mark = tmp_path / "started"
    server_machine.run(*DRILL, "owe", "drill.stuck", "--mark", str(mark))
    server_machine.start(*CELERY, "beat", "--loglevel", "ERROR")
    worker = start_worker(server_machine)
    wait_until(mark.exists, seconds=40)
    os.killpg(worker.pid, signal.SIGKILL)
    assert server_machine.rows(RESULTS) == []
    began = time.monotonic()
    start_worker(server_machine)
    wait_until(lambda: done(server_machine) == 1, seconds=40)
    print(f"done again {time.monotonic() - began:.1f} s after the kill")
    assert server_machine.rows(RESULTS) == [("owed-0", 2)]
