"""Compiling beforehand leaves nothing to compile for the first person who asks."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

# Run in a process of its own: how many functions were compiled, and how many were read.
ASK = """
import sys
from bays.floor import FloorPlan, Pose, VehicleShape
from bays.floor import ClearZone, resolve, search_placements
from bays.floor import boxes, flood, joins, judging, onward, room_in_boxes, runs
from bays.floor.drive import drive_between, reversing_needed
plan = FloorPlan.from_content({
    "name": "Hall", "obstacles": [], "zones": [], "bays": [], "doors": [],
    "outline": [[0, 0], [20000, 0], [20000, 15000], [0, 15000]],
})
there = Pose(15000.0, 9000.0, 90.0)
asked = (plan, VehicleShape(1800, 2700, 900, 1000), 5200.0, Pose(4000.0, 5000.0, 0.0), there)
drive_between(*asked)
reversing_needed(*asked)
round_body = {"from_x": ("rear", -300), "to_x": ("front", 300)}
round_body |= {"from_y": ("right", -300), "to_y": ("left", 300)}
rect = {k: {"datum": d, "offset_mm": mm} for k, (d, mm) in round_body.items()}
zone = ClearZone.from_content({"parts": [{"rect": rect}], "position_tolerance_mm": 30})
found = search_placements(plan, resolve(zone, asked[1]), anywhere=True)
assert found.placements
modules = (flood, joins, onward, boxes, judging, room_in_boxes, runs)
kernels = [v for m in modules for v in vars(m).values() if hasattr(v, "stats")]
print(sum(sum(k.stats.cache_misses.values()) for k in kernels),
      sum(sum(k.stats.cache_hits.values()) for k in kernels))
"""


def answer_of(program: list[str], cache: Path) -> str:
    done = subprocess.run(
        [sys.executable, *program],
        cwd=ROOT,
        env={**os.environ, "NUMBA_CACHE_DIR": str(cache)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.slow
def test_driving_needs_no_compiler_after_compiling_beforehand(tmp_path: Path) -> None:
    answer_of(["-m", "bays.compiled", "floor"], tmp_path)
    compiled, read = map(int, answer_of(["-c", ASK], tmp_path).split())
    assert compiled == 0
    assert read > 0
