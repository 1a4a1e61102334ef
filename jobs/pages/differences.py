"""Parts of a proposal as a page shows them: in words and as bars before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from bays.planner import Parts, Row
from jobs.drawing.difference import Difference, Placed, draw_difference
from jobs.planning.problem import ShopPlan


@dataclass(frozen=True)
class ShownPart:
    """One tick: the visits that go together, what moves, and what it needs."""

    visits: tuple[int, ...]
    name: str
    required: bool
    says: str
    changes: tuple[str, ...]
    promises: tuple[str, ...]
    needs: tuple[str, ...]
    drawings: tuple[Any, ...]


def shown_parts(shop_plan: ShopPlan, apart: Parts) -> list[ShownPart]:
    labels = {v.id: v.label for v in apart.replan.problem.vehicles}
    late = {move.vehicle: move.says for move in apart.replan.promise_moves}
    return [
        ShownPart(
            visits=tuple(
                int(v.removeprefix("visit:")) for v in part.vehicles if v.startswith("visit:")
            ),
            name=" and ".join(labels[v] for v in part.vehicles),
            required=part.required or part.number in apart.closed(()),
            says=part.says,
            changes=tuple(change.says for change in part.changes),
            promises=tuple(late[v] for v in part.vehicles if v in late),
            needs=tuple(
                labels[v] for p in apart.parts if p.number in part.needs for v in p.vehicles
            ),
            drawings=tuple(_drawn(shop_plan, apart, vehicle) for vehicle in part.vehicles),
        )
        for part in apart.parts
    ]


def _drawn(shop_plan: ShopPlan, apart: Parts, vehicle: str) -> Any:
    known = apart.replan.problem.vehicle_by_id[vehicle]
    before = [row for row in apart.before.rows if row.vehicle == vehicle]
    after = [row for row in apart.replan.plan.rows if row.vehicle == vehicle]
    return draw_difference(
        Difference(
            title=f"{known.label} before and after",
            before=_placed(shop_plan, apart, before, after),
            after=_placed(shop_plan, apart, after, before),
            promised_at=apart.replan.problem.moment(known.due),
        )
    )


def _placed(
    shop_plan: ShopPlan, apart: Parts, rows: Sequence[Row], others: Sequence[Row]
) -> list[Placed]:
    problem, other = apart.replan.problem, set(others)
    found = []
    for row in rows:
        person = problem.technician_by_id.get(row.technician)
        who = person.name if person else row.technician
        name = problem.operation_by_key[row.key].name
        place = problem.placements[row.placement].label
        found.append(
            Placed(
                starts_at=problem.moment(row.start),
                ends_at=problem.moment(row.end),
                label=f"{name}, {who}",
                title=f"{name}, {problem.clock(row.start)} to {problem.clock(row.end)}, "
                f"{place}, {who}",
                moved=row not in other,
            )
        )
    return found
