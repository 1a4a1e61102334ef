"""Many clients want the same floor at once, and one of their processes is killed on the way.

The overlap query below shares no code with the booking. The number of attempts is small by
default; ``SHOPCAL_BOOKING_ATTEMPTS`` names another.
"""

from __future__ import annotations

import json
import os
import signal
import time
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests.shopcal.machine import Machine

ATTEMPTS = int(os.environ.get("SHOPCAL_BOOKING_ATTEMPTS", "160"))
CLEAR_REFUSALS = {"offer_gone", "offer_expired", "ro_number_taken"}

OVERLAPS = """
SELECT count(*) FROM bays_hold a JOIN bays_hold b
ON a.resource_id = b.resource_id AND a.id < b.id
AND a.starts_at < b.ends_at AND b.starts_at < a.ends_at
"""
VISITS = "SELECT id FROM jobs_visit"
# A whole booking: three steps with a time, each with holds of a person and of its equipment, and
# the calibration with the floor it needs.
WHOLE = """
SELECT v.id FROM jobs_visit v WHERE
 (SELECT count(*) FROM jobs_step s WHERE s.visit_id = v.id AND s.starts_at IS NOT NULL) = 3
 AND (SELECT count(*) FROM jobs_step s WHERE s.visit_id = v.id AND NOT EXISTS (
   SELECT 1 FROM bays_hold h JOIN bays_resource r ON r.id = h.resource_id
   WHERE h.step_id = s.id AND r.kind = 'person')) = 0
 AND EXISTS (SELECT 1 FROM jobs_step s JOIN bays_hold h ON h.step_id = s.id
   JOIN bays_resource r ON r.id = h.resource_id
   WHERE s.visit_id = v.id AND s.kind = 'calibration' AND r.kind = 'zone')
 AND (SELECT count(*) FROM jobs_calibration c WHERE c.visit_id = v.id) = 1
 AND EXISTS (SELECT 1 FROM history_event e WHERE e.visit_id = v.id AND e.kind = 'visit.booked')
"""


def run_clients(
    place: Machine, out: Path, processes: int, threads: int, *, kill_one: bool
) -> list[dict[str, Any]]:
    """The answers of all clients; one process is killed mid-way and started again."""
    each = ATTEMPTS // processes
    running = []
    for number in range(processes):
        file = (out / f"{number}.jsonl").open("w")
        arguments = ("-m", "tests.faults.booking_clients", str(threads), str(each), str(number))
        running.append(place.start(*arguments, stdout=file))
    if kill_one:
        until = time.monotonic() + 60
        while (out / "0.jsonl").stat().st_size == 0 and time.monotonic() < until:
            time.sleep(0.05)
        os.killpg(running[0].pid, signal.SIGKILL)
        file = (out / "again.jsonl").open("w")
        arguments = ("-m", "tests.faults.booking_clients", str(threads), str(each), "9")
        running[0] = place.start(*arguments, stdout=file)
    for process in running:
        assert process.wait(900) == 0
    lines = [line for path in out.glob("*.jsonl") for line in path.read_text().splitlines()]
    return [json.loads(line) for line in lines if line.endswith("}")]


def check(place: Machine, answers: list[dict[str, Any]]) -> None:
    broke = [answer["broke"] for answer in answers if "broke" in answer]
    assert broke == []
    refused = Counter(answer["refused"] for answer in answers if "refused" in answer)
    assert set(refused) <= CLEAR_REFUSALS, refused
    told = {answer["booked"] for answer in answers if "booked" in answer}
    visits = {row[0] for row in place.rows(VISITS)}
    assert told <= visits, "a booking that was acknowledged is gone"
    assert {row[0] for row in place.rows(WHOLE)} == visits, "a half booking stayed behind"
    assert place.rows(OVERLAPS) == [(0,)]
    # The clients must really have been in each other's way, and some must have come through.
    assert refused["offer_gone"] > 0
    assert len(told) > 0
    print(f"\n{len(answers)} attempts: {len(told)} booked, refused {dict(refused)}")


@pytest.mark.slow
def test_eight_clients_on_the_built_in_database_never_share_floor(
    machine: Machine,
    tmp_path: Path,
) -> None:
    machine.run("-m", "tests.faults.small_shop")
    out = tmp_path / "out"
    out.mkdir()
    check(machine, run_clients(machine, out, processes=2, threads=4, kill_one=True))


@pytest.mark.slow
@pytest.mark.service
def test_thirty_two_clients_on_postgresql_never_share_floor(
    server_machine: Machine,
    tmp_path: Path,
) -> None:
    server_machine.run("-m", "tests.faults.small_shop")
    out = tmp_path / "out"
    out.mkdir()
    check(server_machine, run_clients(server_machine, out, processes=4, threads=8, kill_one=True))
