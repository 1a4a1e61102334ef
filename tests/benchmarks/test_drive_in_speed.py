"""How long driving in takes. Run by hand: ``pytest -s -m benchmark tests/benchmarks``.

40 x 20 m, ten bays, five aisles, twelve columns, four lifts, one door. Prints figures and never
fails on a clock: machines differ, and so do their loads. The code is compiled before the clock.
"""

from __future__ import annotations

import math
from statistics import quantiles
from time import perf_counter, process_time

import pytest

from bays.floor import FloorPlan, Pose
from bays.floor.drive import Drive, drive_in
from bays.floor.reach import KEPT_BYTES, fresh_map, reach
from tests.bays.floor.halls import RADIUS_MM, VAN, workshop

# The body's middle is so far ahead of the rear axle.
MIDDLE_MM = VAN.length_mm / 2 - VAN.rear_overhang_mm

pytestmark = pytest.mark.benchmark


def test_time_to_flood_and_to_ask() -> None:
    plan = FloorPlan.from_content(workshop())
    asked = (plan, VAN, RADIUS_MM, plan.doors[0])
    assert isinstance(drive_in(reach(*asked), Pose(9000, 1800, 90)), Drive)
    begun, cpu = perf_counter(), process_time()
    found = fresh_map(*asked)
    found.flood()
    print(
        f"\nflood: {perf_counter() - begun:.2f} s, computing {process_time() - cpu:.2f} s; "
        f"{found.flood().count} places, {found.nbytes / 1e6:.0f} MB (all kept: at most "
        f"{KEPT_BYTES / 1e6:.0f} MB)"
    )
    taken = []
    for bay in plan.bays:
        x, y = bay.centre
        for heading in bay.headings_deg:
            c, s = math.cos(math.radians(heading)), math.sin(math.radians(heading))
            pose = Pose(x - MIDDLE_MM * c, y - MIDDLE_MM * s, heading)
            begun = process_time()
            assert isinstance(drive_in(found, pose), Drive), pose
            taken.append(1000 * (process_time() - begun))
    cuts = quantiles(taken, n=20)
    print(f"query, computing: p50 {cuts[9]:.0f} ms, p95 {cuts[18]:.0f} ms, {len(taken)} poses")
