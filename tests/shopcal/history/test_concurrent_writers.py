"""Many writers at once never fork a shop's chain."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.shopcal.history.write_together import EVENTS_EACH, WRITERS

ROOT = Path(__file__).resolve().parents[3]


def write_together(**environment: str) -> str:
    """A process of its own: the tests' database is in memory and has room for one writer only."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.shopcal.history.write_together"],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.mark.slow
def test_writers_at_once_never_fork_the_chain(tmp_path) -> None:
    assert (
        write_together(SHOPCAL_DATA=str(tmp_path), DATABASE_URL="") == f"{WRITERS * EVENTS_EACH} 0"
    )


@pytest.mark.service
def test_writers_at_once_never_fork_the_chain_on_postgresql(tmp_path) -> None:
    if not os.environ.get("DATABASE_URL"):
        pytest.skip("no DATABASE_URL")
    assert write_together(SHOPCAL_DATA=str(tmp_path)) == f"{WRITERS * EVENTS_EACH} 0"
