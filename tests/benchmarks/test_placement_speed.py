"""How long the floor takes to answer. Run by hand: ``pytest -s -m benchmark tests/benchmarks``.

Prints figures and never fails on a clock: machines differ, and so do their loads. The floor is
40 x 20 m with ten bays, five aisles, twelve columns and four two-post lifts; five procedures.
"""

from __future__ import annotations

import tracemalloc
from statistics import median
from time import perf_counter, process_time
from typing import Any

import pytest

from bays.floor import (
    ClearZone,
    FloorPlan,
    Part,
    feasible,
    options,
    placements,
    resolve,
    search_fit,
    search_placements,
)
from bays.floor import headings as heading_search
from bays.floor.clearance import _region
from tests.bays.floor.cases import HATCHBACK, bay, column, drawing, rect, zone

pytestmark = pytest.mark.benchmark


def _shop() -> FloorPlan:
    zones, bays, solid = [], [], []
    for i in range(5):
        x = 1000 + 7600 * i
        for side, (y0, y1) in {"S": (0, 7000), "N": (13000, 20000)}.items():
            zones.append(zone(f"{side}{i}", x, y0, x + 4500, y1))
            bays.append(bay(f"{side}{i}", [f"{side}{i}"], [x + 2250, (y0 + y1) // 2]))
        zones.append(zone(f"A{i}", 8000 * i, 7000, 8000 * i + 8000, 13000, kind="aisle"))
    for i in range(6):
        x = 200 + 7600 * i
        solid += [column(f"C{i}{end}", x, y, x + 400, y + 400) for end, y in _ROWS]
    for i, (x, y) in enumerate([(1000, 3200), (8600, 3200), (16200, 16600), (23800, 16600)]):
        solid += [column(f"L{i}{end}", x + a, y, x + a + 300, y + 500) for end, a in _POSTS]
    content = drawing(rect(0, 0, 40000, 20000), zones=zones, bays=bays, obstacles=solid)
    return FloorPlan.from_content(content)


_ROWS = (("S", 6700), ("N", 12900))
_POSTS = (("L", 400), ("R", 3800))


def _at(datum: str, offset_mm: float = 0) -> dict[str, Any]:
    return {"datum": datum, "offset_mm": offset_mm}


def _rect(rear: float, ahead: float, half: float) -> dict[str, Any]:
    edges = {"from_x": _at("rear", -rear), "to_x": _at("front", ahead)}
    sides = {"from_y": _at("centreline", -half), "to_y": _at("centreline", half)}
    return {"rect": {**edges, **sides}}


def _sector(end: str, side: str, bearing: float, half: float, reach: float) -> dict[str, Any]:
    angles = {"bearing_deg": bearing, "half_angle_deg": half, "range_mm": reach}
    return {"sector": {"x": _at(end), "y": _at(side), **angles}}


PROCEDURES: dict[str, dict[str, Any]] = {
    "target ahead": {
        "parts": [_rect(300, 300, 1750), _rect(-4850, 4500, 1500)],
        "position_tolerance_mm": 50,
        "angle_tolerance_deg": 0.5,
    },
    "all round": {"parts": [_rect(1500, 1500, 2450)]},
    "sector ahead": {"parts": [_sector("front", "centreline", 0, 40, 6000)]},
    "two sectors behind": {
        "parts": [_sector("rear", "left", 150, 35, 4000), _sector("rear", "right", -150, 35, 4000)],
        "position_tolerance_mm": 30,
    },
    "little more than the body": {"parts": [_rect(600, 600, 1650)]},
}


def _parts(name: str) -> tuple[Part, ...]:
    return resolve(ClearZone.from_content(PROCEDURES[name]), HATCHBACK)


def test_time_to_answer_for_five_procedures_at_all_headings() -> None:
    plan = _shop()
    heading_search._searched.cache_clear()
    begun, worked = perf_counter(), process_time()
    for name in PROCEDURES:
        start = process_time()
        found = search_placements(plan, _parts(name))
        took = 1000 * (process_time() - start)
        sets, proof = len(found.placements), "proven" if found.proven else "not proven"
        print(f"\n{name}: {sets} sets, {proof}, {took:.0f} ms of processor", end="")
    print(
        f"\ncold, five procedures: {1000 * (perf_counter() - begun):.0f} ms by the clock,"
        f" {1000 * (process_time() - worked):.0f} ms of processor"
    )
    occupied = {zone_id for i, zone_id in enumerate(plan.zones) if i % 3 == 0}
    asked = [_parts(name) for name in PROCEDURES]
    times = []
    for _ in range(500):
        for parts in asked:
            start = perf_counter()
            options(placements(plan, parts), occupied)
            times.append(1000 * (perf_counter() - start))
    print(f"warm, which placements are free: median {median(times):.4f} ms, {max(times):.3f} worst")


def test_time_for_a_region_less_what_is_occupied() -> None:
    plan, times = _shop(), []
    occupied = [zone_id for i, zone_id in enumerate(plan.zones) if i % 3 == 0]
    for name in PROCEDURES:
        region = feasible(plan, _parts(name), 90)
        assert region.zone_poses
        for some in (occupied, occupied[:3], occupied[3:]):
            start = perf_counter()
            region.without(some)
            times.append(1000 * (perf_counter() - start))
    print(f"\nregion less occupied zones: median {median(times):.1f} ms, {max(times):.1f} worst")


def test_time_to_the_roomiest_pose_at_any_heading() -> None:
    plan = _shop()
    heading_search._fitted.cache_clear()
    for name in PROCEDURES:
        start = process_time()
        found = search_fit(plan, _parts(name))
        took = 1000 * (process_time() - start)
        margin = "-" if found.fit is None else f"{found.fit.margin_mm:.0f} mm"
        print(f"\n{name}: {margin}, proven {found.proven}, {took:.0f} ms of processor", end="")


def test_memory_of_kept_answers_is_bounded() -> None:
    """Ten times as many questions as this keep no more answers than the caches hold."""
    plan = _shop()
    heading_search._searched.cache_clear()
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for name in PROCEDURES:
        search_placements(plan, _parts(name))
    held = (tracemalloc.get_traced_memory()[0] - before) / len(PROCEDURES) / 1024
    tracemalloc.stop()
    kept = heading_search._searched.cache_info().maxsize
    assert kept is not None
    assert _region.cache_info().maxsize is not None
    print(f"\nan answer takes {held:.0f} kB, {kept} are kept: at most {held * kept / 1024:.0f} MB")
