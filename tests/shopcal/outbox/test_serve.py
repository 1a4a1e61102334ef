"""The whole service on one machine, started as people start it."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.shopcal.machine import Machine, free_port, wait_until

pytestmark = pytest.mark.slow
DRILL = ("-m", "tests.shopcal.outbox.drill")


@dataclass
class Served:
    machine: Machine
    process: subprocess.Popen[str]
    port: int
    live_port: int
    said: list[str] = field(default_factory=list)

    def child(self, name: str) -> int:
        """Process id of the latest start of this part, 0 when it was never started."""
        started = re.findall(rf"{name} started \(process (\d+)\)", "".join(self.said))
        return int(started[-1]) if started else 0

    def answers(self, port: int, path: str) -> int:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=2) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0

    def up(self) -> bool:
        return self.answers(self.port, "/sign-in/") > 0 and bool(
            self.answers(self.live_port, "/health")
        )


@pytest.fixture
def served(machine: Machine) -> Iterator[Served]:
    port, live_port = free_port(), free_port()
    process = machine.start(
        *("manage.py", "serve", "--port", str(port), "--live-port", str(live_port)),
        *("--workers", "1"),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    made = Served(machine, process, port, live_port)
    assert process.stdout is not None
    listen = threading.Thread(target=lambda: made.said.extend(process.stdout), daemon=True)  # type: ignore[arg-type]
    listen.start()
    wait_until(made.up, seconds=40)
    yield made
    process.terminate()
    process.wait(20)
    listen.join(5)


def alive(process_id: int) -> bool:
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return False
    return b") Z " not in Path(f"/proc/{process_id}/stat").read_bytes()


def test_a_killed_part_is_started_again_and_what_was_owed_is_delivered(served: Served) -> None:
    for name in ("outbox", "live", "pages"):
        wait_until(lambda name=name: served.child(name))
        killed = served.child(name)
        os.kill(killed, signal.SIGKILL)
        wait_until(lambda name=name, killed=killed: served.child(name) not in (0, killed))
    served.machine.run(*DRILL, "owe", "mail.send")
    done = "SELECT count(*) FROM outbox_sentmail"
    wait_until(lambda: served.machine.rows(done) == [(1,)])
    wait_until(served.up, seconds=40)
    assert any("signal SIGKILL" in line for line in served.said)


def test_everything_stops_when_it_is_asked_to(served: Served) -> None:
    assert f"http://localhost:{served.port}/" in served.said[0]
    parts = [served.child(name) for name in ("pages", "live", "outbox")]
    assert all(alive(part) for part in parts)
    served.process.terminate()
    assert served.process.wait(20) == 0
    assert not any(alive(part) for part in parts)
    assert not served.answers(served.port, "/sign-in/")
    assert not served.answers(served.live_port, "/health")


def test_no_part_outlives_a_killed_supervisor(served: Served) -> None:
    parts = [served.child(name) for name in ("pages", "live", "outbox")]
    served.process.kill()
    served.process.wait(10)
    wait_until(lambda: not any(alive(part) for part in parts))
    wait_until(lambda: not served.answers(served.port, "/sign-in/"))


def test_it_refuses_to_start_on_a_database_that_is_not_migrated(tmp_path: Path) -> None:
    fresh = Machine(tmp_path)
    process = fresh.start("manage.py", "serve", stderr=subprocess.PIPE)
    assert process.wait(30) != 0
    assert process.stderr is not None
    assert "manage.py migrate" in process.stderr.read()
    fresh.close()


def test_celery_is_not_started_where_no_broker_is_named(machine: Machine) -> None:
    process = machine.start("manage.py", "serve", "--with-workers", stderr=subprocess.PIPE)
    assert process.wait(30) != 0
    assert process.stderr is not None
    assert "REDIS_URL" in process.stderr.read()


def test_the_live_health_says_how_many_listen(served: Served) -> None:
    with urllib.request.urlopen(f"http://127.0.0.1:{served.live_port}/health") as answer:
        assert json.load(answer) == {"listeners": 0, "away": False}
