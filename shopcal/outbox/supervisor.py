"""Keeps the processes of one machine running. Imports no Django.

A process that dies is started again; nothing any of them holds in memory is missed. Each is the
head of a group of its own, so that what it started itself ends with it and frees its port.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from types import FrameType

LOOK_SECONDS = 0.2
FIRST_WAIT_SECONDS = 0.5
LONGEST_WAIT_SECONDS = 10.0
STEADY_SECONDS = 30.0  # up this long, it is forgiven earlier deaths
STOP_SECONDS = 10.0
_DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG in Linux's <sys/prctl.h>

Say = Callable[[str], None]


@dataclass
class Child:
    """One process to keep running."""

    name: str
    command: Sequence[str]
    environment: Mapping[str, str]
    process: subprocess.Popen[bytes] | None = None
    deaths: int = 0
    started_at: float = 0.0
    start_again_at: float = 0.0

    def start(self) -> None:
        self.process = subprocess.Popen(  # noqa: S603 - our own programs, no shell
            self.command,
            env={**os.environ, **self.environment},
            process_group=0,
            preexec_fn=_die_with_parent if sys.platform == "linux" else None,  # noqa: PLW1509
        )
        self.started_at = time.monotonic()

    def signal(self, number: int) -> None:
        """Send to the process and to all it started."""
        if self.process is None:
            return
        try:
            os.killpg(self.process.pid, number)
        except ProcessLookupError:
            return

    def mourn(self) -> float:
        """End what the dead process left behind; seconds to wait before the next start."""
        self.signal(signal.SIGKILL)
        self.process = None
        steady = time.monotonic() - self.started_at >= STEADY_SECONDS
        self.deaths = 1 if steady else self.deaths + 1
        wait = min(FIRST_WAIT_SECONDS * 2 ** (self.deaths - 1), LONGEST_WAIT_SECONDS)
        self.start_again_at = time.monotonic() + wait
        return wait


@dataclass
class Supervisor:
    """Runs the children until a signal asks it to stop, which is passed on to them."""

    children: Sequence[Child]
    say: Say
    stopping: threading.Event = field(default_factory=threading.Event)

    def run(self) -> None:
        before = {n: signal.signal(n, self._stop) for n in (signal.SIGTERM, signal.SIGINT)}
        try:
            for child in self.children:
                self._start(child)
            while not self.stopping.wait(LOOK_SECONDS):
                self._look()
        finally:
            self._end()
            for number, former in before.items():
                signal.signal(number, former)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.stopping.set()

    def _start(self, child: Child) -> None:
        child.start()
        assert child.process is not None
        self.say(f"{child.name} started (process {child.process.pid})")

    def _look(self) -> None:
        for child in self.children:
            if child.process is None:
                if time.monotonic() >= child.start_again_at:
                    self._start(child)
            elif (code := child.process.poll()) is not None:
                wait = child.mourn()
                self.say(f"{child.name} ended ({_in_words(code)}); starting it again in {wait:g} s")

    def _end(self) -> None:
        running = [child for child in self.children if child.process is not None]
        # Only the heads: they tell their own workers, and let them finish what is in hand.
        for child in running:
            assert child.process is not None
            child.process.terminate()
        until = time.monotonic() + STOP_SECONDS
        for child in running:
            assert child.process is not None
            try:
                child.process.wait(max(until - time.monotonic(), 0.1))
            except subprocess.TimeoutExpired:
                self.say(f"{child.name} did not stop in {STOP_SECONDS:g} s and is ended")
            child.signal(signal.SIGKILL)
            child.process.wait()


def _in_words(code: int) -> str:
    return f"exit code {code}" if code >= 0 else f"signal {signal.Signals(-code).name}"


def _die_with_parent() -> None:
    """Have the kernel stop this child when the supervisor is killed, or it would keep its port."""
    ctypes.CDLL(None).prctl(_DIE_WITH_PARENT, signal.SIGTERM)
