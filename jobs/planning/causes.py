"""What broke the plan, kept as plain values, so that it can be asked about again later."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from bays.convert.planner import person_key, unit_key, zone_key
from bays.planner import (
    Disruption,
    Row,
    RunsLong,
    TechnicianOut,
    UnitOut,
    Window,
    ZoneClosed,
)
from jobs.planning.problem import ShopPlan, vehicle_id


@dataclass(frozen=True)
class Cause:
    """`repair` (nothing new: put right what is broken), or one of the planner's disruptions.

    ``subject`` is the technician's, unit's or zone's code, or the step's number.
    """

    kind: str
    subject: str = ""
    starts_at: datetime | None = None
    ends_at: datetime | None = None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        facts = asdict(self)
        for name in ("starts_at", "ends_at"):
            facts[name] = facts[name].isoformat() if facts[name] else None
        return facts

    def disruption(self, shop_plan: ShopPlan) -> Disruption | None:
        """The same for the planner; None where the shop's own facts say it all by now."""
        clock, problem = shop_plan.clock, shop_plan.problem
        if self.kind == "unit_out" and unit_key(self.subject) in problem.unit_by_id:
            end = clock.up(self.ends_at) if self.ends_at else problem.horizon
            return UnitOut(unit_key(self.subject), Window(problem.now, max(end, problem.now)))
        if self.kind == "runs_long":
            step = shop_plan.steps.get(f"step:{self.subject}")
            if step is None or self.ends_at is None:
                return None
            return RunsLong(vehicle_id(step.visit), f"step:{step.pk}", clock.up(self.ends_at))
        if self.starts_at is None or self.ends_at is None:
            return None
        if self.kind == "technician_out":
            key = person_key(self.subject)
            window = clock.around(max(self.starts_at, clock.moment(0)), self.ends_at)
            return TechnicianOut(key, window) if key in problem.technician_by_id else None
        if self.kind == "zone_closed":
            return ZoneClosed(zone_key(self.subject), clock.around(self.starts_at, self.ends_at))
        return None


def cause_of(facts: Mapping[str, Any]) -> Cause:
    def moment(name: str) -> datetime | None:
        return datetime.fromisoformat(facts[name]) if facts.get(name) else None

    return replace(
        Cause(facts["kind"], facts.get("subject", ""), reason=facts.get("reason", "")),
        starts_at=moment("starts_at"),
        ends_at=moment("ends_at"),
    )


def mark_of(shop_plan: ShopPlan) -> str:
    """A name for the plan in force: another one as soon as a step in it is placed or done."""
    facts = sorted(
        f"{step.pk} {step.version} {step.state} {step.pinned} {step.starts_at} {step.ends_at}"
        for step in shop_plan.steps.values()
    )
    return hashlib.sha256("\n".join(facts).encode()).hexdigest()[:40]


def row_facts(shop_plan: ShopPlan, row: Row) -> dict[str, Any]:
    """A row as plain values, with moments in the place of minutes: their origin moves on."""
    facts = asdict(row)
    facts["units"] = list(row.units)
    for name in ("start", "end"):
        facts[name] = shop_plan.clock.moment(facts[name]).isoformat()
    return facts


def row_of(shop_plan: ShopPlan, facts: Mapping[str, Any]) -> Row:
    clock = shop_plan.clock
    start, end = (datetime.fromisoformat(facts[name]) for name in ("start", "end"))
    given = {**facts, "start": clock.down(start), "end": clock.up(end)}
    return Row(**{**given, "units": tuple(facts["units"])})
