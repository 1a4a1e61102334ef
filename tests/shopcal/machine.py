"""A service of its own beside the tests: real processes on a database of their own."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings

ROOT = Path(__file__).resolve().parent.parent.parent
POSTGRESQL = os.environ.get("TEST_POSTGRESQL_URL", "postgresql://postgres@127.0.0.1:5432")


@dataclass
class Machine:
    """Runs programs against one data folder or one PostgreSQL database."""

    data: Path
    database_url: str = ""
    environment: dict[str, str] = field(default_factory=dict)
    started: list[subprocess.Popen[str]] = field(default_factory=list)

    @property
    def database_name(self) -> str:
        return self.database_url.rpartition("/")[2]

    def environ(self) -> dict[str, str]:
        kept = {key: os.environ[key] for key in ("PATH", "HOME", "LANG") if key in os.environ}
        return {
            **kept,
            "SHOPCAL_DATA": str(self.data),
            "SHOPCAL_SECRET_KEY": settings.SECRET_KEY,
            "SHOPCAL_LOG_LEVEL": "WARNING",
            "DATABASE_URL": self.database_url,
            "SHOPCAL_DATABASE_POOL": "0",
            **self.environment,
        }

    def start(self, *arguments: str, **options: Any) -> subprocess.Popen[str]:
        """A Python program, running beside the test until the test ends."""
        process = subprocess.Popen(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.environ(),
            text=True,
            start_new_session=True,
            **options,
        )
        self.started.append(process)
        return process

    def run(self, *arguments: str) -> str:
        """A Python program that must succeed; what it wrote."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.environ(),
            text=True,
            capture_output=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        if self.database_url:
            with psycopg.connect(self.database_url, autocommit=True) as connection:
                return connection.execute(sql).fetchall()
        with closing(sqlite3.connect(self.data / "shopcal.sqlite3", timeout=20)) as connection:
            return connection.execute(sql).fetchall()

    def close(self) -> None:
        for process in self.started:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(10)
            for stream in (process.stdin, process.stdout, process.stderr):
                if stream is not None:
                    stream.close()


@pytest.fixture(scope="session")
def migrated_data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    data = tmp_path_factory.mktemp("migrated")
    Machine(data).run("manage.py", "migrate", "--verbosity", "0")
    return data


@pytest.fixture
def machine(migrated_data: Path, tmp_path: Path) -> Iterator[Machine]:
    """A machine with the built-in database."""
    data = tmp_path / "data"
    shutil.copytree(migrated_data, data)
    made = Machine(data)
    yield made
    made.close()


@contextmanager
def on_postgresql(data: Path, *, template: str = "template1") -> Iterator[Machine]:
    """A machine on a PostgreSQL database of its own, at first a copy of another one."""
    name = f"shopcal_f_{uuid.uuid4().hex[:12]}"
    with psycopg.connect(f"{POSTGRESQL}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
    made = Machine(data, f"{POSTGRESQL}/{name}")
    try:
        yield made
    finally:
        made.close()
        with psycopg.connect(f"{POSTGRESQL}/postgres", autocommit=True) as connection:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="session")
def migrated_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a PostgreSQL database with our tables, to be copied."""
    with on_postgresql(tmp_path_factory.mktemp("migrated_server")) as made:
        made.run("manage.py", "migrate", "--verbosity", "0")
        yield made.database_name


@pytest.fixture
def server_machine(migrated_server: str, tmp_path: Path) -> Iterator[Machine]:
    """A machine on PostgreSQL."""
    with on_postgresql(tmp_path, template=migrated_server) as made:
        yield made


def wait_until(true: Callable[[], Any], *, seconds: float = 20) -> Any:
    """What the question answers once that is true; fails when it never is."""
    until = time.monotonic() + seconds
    while not (answer := true()):
        assert time.monotonic() < until, f"not so within {seconds} s"
        time.sleep(0.02)
    return answer


def listens(port: int) -> bool:
    with closing(socket.socket()) as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
