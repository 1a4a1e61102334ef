"""Plan a shop written down in a file: `python -m bays.planner INSTANCE.json --seconds 10`.

The same engine as the service. The instance and the plan are in the forms of `exchange`.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from bays.planner.answers import Infeasible, ModelError, NotProved, Plan
from bays.planner.bound import lower_bound
from bays.planner.dispatch import dispatch
from bays.planner.engine.warm import warm_up
from bays.planner.exchange import read_instance, write_plan
from bays.planner.faults import model_error
from bays.planner.improve import improve, quick_plan
from bays.planner.problem import Problem

ANSWERED, NO_PLAN, UNREADABLE = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Print cost, excess, bound and times as JSON; 0 with a plan, 1 without, 2 if unreadable."""
    asked = _parser().parse_args(arguments)
    try:
        data = json.loads(Path(asked.instance).read_text("utf-8"))
        problem = read_instance(data)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        print(f"{asked.instance}: not an instance: {_words(error)}", file=sys.stderr)
        return UNREADABLE
    broken = model_error(problem)
    if broken is not None:
        return _say({"answer": "model error", "says": broken.says, "faults": list(broken.faults)})
    began = time.perf_counter()
    warm_up()
    compiling = time.perf_counter() - began
    began = time.perf_counter()
    first = quick_plan(problem) or dispatch(problem)
    first_after = time.perf_counter() - began
    if not isinstance(first, Plan):
        return _say(_refusal(first))
    plan = improve(problem, first, asked.seconds, asked.seed, workers=asked.workers)
    figures: dict[str, Any] = {
        "answer": "plan",
        "cost": plan.cost,
        "late_vehicles": len(plan.late),
        "first_cost": first.cost,
        "first_after_seconds": round(first_after, 4),
        "ready_after_seconds": round(compiling, 2),
    }
    if asked.bound_seconds > 0:
        figures |= _bound(problem, plan, asked.bound_seconds)
    if "alone" in data:
        figures["excess"] = plan.cost - data["alone"]
    if asked.out:
        Path(asked.out).write_text(json.dumps(write_plan(plan)), "utf-8")
    return _say(figures)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m bays.planner", description=__doc__)
    parser.add_argument("instance", help="the shop and its vehicles, as JSON")
    parser.add_argument("--seconds", type=float, default=2.0, help="to improve the first plan")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--out", help="where to write the plan")
    parser.add_argument("--workers", type=int, default=2, help="threads that improve it")
    parser.add_argument(
        "--bound-seconds", type=float, default=2.0, help="to find what no plan can cost less than"
    )
    return parser


def _bound(problem: Problem, plan: Plan, seconds: float) -> dict[str, Any]:
    bound = lower_bound(problem, seconds)
    gap = 100 * (plan.cost - bound.value) / plan.cost if plan.cost else 0.0
    return {"bound": bound.value, "gap_percent": round(gap, 2), "bound_by": bound.method}


def _refusal(answer: Infeasible | NotProved | ModelError) -> dict[str, Any]:
    if isinstance(answer, ModelError):
        return {"answer": "model error", "says": answer.says, "faults": list(answer.faults)}
    kind = "infeasible" if isinstance(answer, Infeasible) else "not proved"
    return {"answer": kind, "vehicle": answer.vehicle, "says": answer.binding.says}


def _words(error: Exception) -> str:
    return f"no {error}" if isinstance(error, KeyError) else str(error)


def _say(figures: dict[str, Any]) -> int:
    print(json.dumps(figures, indent=1))
    return ANSWERED if figures["answer"] == "plan" else NO_PLAN


if __name__ == "__main__":
    sys.exit(main())
