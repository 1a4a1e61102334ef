"""How long ``python -m bays.floor`` takes, process start included: ``pytest -s -m benchmark``.

Prints figures and never fails on a clock: machines differ, and so do their loads.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

import pytest

from tests.bays.floor.cases import read_case
from tests.bays.floor.test_exchange_drive import corner

pytestmark = pytest.mark.benchmark

RUNS = 5


def _any_heading() -> dict[str, Any]:
    case = read_case("hall_with_columns_and_lifts")
    del case["headings_deg"]
    return case


CASES = {
    "exact room, one heading": read_case("room_of_exactly_the_zone"),
    "40 x 20 m hall, two headings": read_case("hall_with_columns_and_lifts"),
    "40 x 20 m hall, any heading": _any_heading(),
    "corner of 3.5 m": corner(3.5),
    "corner of 4.75 m": corner(4.75),
    "survey of 63 readings": read_case("survey_of_a_plane"),
}


@pytest.mark.parametrize("name", CASES)
def test_time_of_the_command(name: str, tmp_path: Path) -> None:
    path = tmp_path / "case.json"
    path.write_text(json.dumps(CASES[name]))
    taken = []
    for _ in range(RUNS):
        begun = perf_counter()
        done = subprocess.run(
            [sys.executable, "-m", "bays.floor", str(path)], capture_output=True, check=True
        )
        taken.append(perf_counter() - begun)
        assert json.loads(done.stdout)
    print(f"\n{name}: {median(taken):.2f} s, worst {max(taken):.2f} s of {RUNS} runs")


def test_time_to_import() -> None:
    taken = []
    for _ in range(RUNS):
        begun = perf_counter()
        subprocess.run([sys.executable, "-c", "import bays.floor.exchange"], check=True)
        taken.append(perf_counter() - begun)
    print(f"\nimport: {median(taken):.2f} s")
