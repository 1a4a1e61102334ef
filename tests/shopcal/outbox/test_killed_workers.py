"""Real worker processes, killed where it hurts most."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from tests.shopcal.machine import Machine, free_port, wait_until

DRILL = ("-m", "tests.shopcal.outbox.drill")
DONE = (
    "SELECT count(*) FROM outbox_outboxmessage WHERE done_at IS NOT NULL AND kind NOT LIKE 'timer%'"
)
RESULTS = "SELECT result, attempt FROM drill_result ORDER BY result"


def done(machine: Machine) -> int:
    return int(machine.rows(DONE)[0][0])


def kill(worker: subprocess.Popen[str]) -> None:
    worker.send_signal(signal.SIGKILL)
    worker.wait(10)


def result_exactly_once_after_a_kill(machine: Machine, mark: Path) -> None:
    machine.run(*DRILL, "owe", "drill.stuck", "--mark", str(mark))
    first = machine.start(*DRILL, "work")
    wait_until(mark.exists)
    kill(first)
    assert machine.rows(RESULTS) == []
    machine.start(*DRILL, "work")
    wait_until(lambda: done(machine) == 1)
    assert machine.rows(RESULTS) == [("owed-0", 2)]


def many_workers_share_without_doubling(machine: Machine, *, workers: int, count: int) -> None:
    """Workers are killed at random moments meanwhile; what they had in hand comes again."""
    ready = [machine.data / f"ready-{number}" for number in range(workers)]
    crew = [machine.start(*DRILL, "work", "--ready", str(file)) for file in ready]
    wait_until(lambda: all(file.exists() for file in ready))
    machine.run(*DRILL, "owe", "drill.quick", "--count", str(count))
    wait_until(lambda: done(machine) > count // 10)
    kill(crew[0])
    wait_until(lambda: done(machine) > count // 3)
    kill(crew[1])
    wait_until(lambda: done(machine) == count, seconds=60)
    times = Counter(result for result, _ in machine.rows(RESULTS))
    assert len(times) == count
    assert set(times.values()) == {1}
    assert len(machine.rows("SELECT DISTINCT process FROM drill_result")) > 1


@pytest.mark.slow
def test_work_killed_in_the_middle_is_done_again_and_kept_once(
    machine: Machine, tmp_path: Path
) -> None:
    result_exactly_once_after_a_kill(machine, tmp_path / "started")


@pytest.mark.service
def test_work_killed_in_the_middle_is_done_again_and_kept_once_on_postgresql(
    server_machine: Machine, tmp_path: Path
) -> None:
    result_exactly_once_after_a_kill(server_machine, tmp_path / "started")


@pytest.mark.slow
def test_several_workers_keep_every_result_once_while_some_are_killed(machine: Machine) -> None:
    many_workers_share_without_doubling(machine, workers=3, count=150)


@pytest.mark.service
def test_several_workers_keep_every_result_once_while_some_are_killed_on_postgresql(
    server_machine: Machine,
) -> None:
    many_workers_share_without_doubling(server_machine, workers=4, count=400)


class MailServer:
    """Accepts mail as a receiver does: one with a known Message-ID is dropped."""

    def __init__(self) -> None:
        self.deliveries: list[str] = []
        self.on_accept: Callable[[], object] = lambda: None

    @property
    def mailbox(self) -> list[str]:
        return list(dict.fromkeys(self.deliveries))

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        content: Any = envelope.content
        lines = content.decode().splitlines()
        self.deliveries += [line for line in lines if line.lower().startswith("message-id:")]
        self.on_accept()
        return "250 OK"


@pytest.fixture
def mail_server(machine: Machine) -> Iterator[MailServer]:
    server = MailServer()
    port = free_port()
    controller = Controller(server, hostname="127.0.0.1", port=port)
    controller.start()
    machine.environment |= {
        "SHOPCAL_EMAIL_HOST": "127.0.0.1",
        "SHOPCAL_EMAIL_PORT": str(port),
        "SHOPCAL_EMAIL_TLS": "no",
    }
    yield server
    controller.stop()


@pytest.mark.slow
def test_mail_is_received_once_when_the_worker_dies_as_the_server_accepts_it(
    machine: Machine, mail_server: MailServer
) -> None:
    """The worst moment: accepted by the server, not yet noted by us. It leaves twice, alike."""
    machine.run(*DRILL, "owe", "mail.send")
    worker = machine.start(*DRILL, "work")
    mail_server.on_accept = lambda: os.kill(worker.pid, signal.SIGKILL)
    worker.wait(20)
    assert done(machine) == 0
    mail_server.on_accept = lambda: None
    machine.start(*DRILL, "work")
    wait_until(lambda: done(machine) == 1)
    assert len(mail_server.deliveries) == 2
    assert len(mail_server.mailbox) == 1
    assert machine.rows("SELECT count(*) FROM outbox_sentmail") == [(1,)]


@pytest.mark.slow
def test_mail_leaves_once_when_the_worker_dies_after_noting_that_it_left(
    machine: Machine, mail_server: MailServer, tmp_path: Path
) -> None:
    machine.run(*DRILL, "owe", "mail.send")
    mark = tmp_path / "sent"
    worker = machine.start(*DRILL, "work", "--stall", str(mark))
    wait_until(mark.exists)
    kill(worker)
    assert mark.read_text() == "mail-0"
    assert done(machine) == 0
    machine.start(*DRILL, "work")
    wait_until(lambda: done(machine) == 1)
    time.sleep(0.3)
    assert len(mail_server.deliveries) == 1


@pytest.mark.slow
def test_mail_waits_while_the_mail_server_is_down(machine: Machine) -> None:
    machine.environment |= {
        "SHOPCAL_EMAIL_HOST": "127.0.0.1",
        "SHOPCAL_EMAIL_PORT": str(free_port()),
        "SHOPCAL_EMAIL_TLS": "no",
    }
    machine.run(*DRILL, "owe", "mail.send", "--count", "2")
    machine.start(*DRILL, "work")
    failed = "SELECT attempts, last_error FROM outbox_outboxmessage WHERE kind = 'mail.send'"
    wait_until(lambda: all("refused" in error for _, error in machine.rows(failed)))
    assert done(machine) == 0


@pytest.mark.slow
def test_a_worker_asked_to_stop_stops_cleanly(machine: Machine) -> None:
    worker = machine.start("manage.py", "run_outbox")
    timers = "SELECT count(*) FROM outbox_timer"
    wait_until(lambda: machine.rows(timers)[0][0] > 0)
    asked_at = time.monotonic()
    worker.terminate()
    assert worker.wait(10) == 0
    assert time.monotonic() - asked_at < 2
