"""What is written down as JSON is read back as the same question and the same plan."""

from __future__ import annotations

from typing import Any

from bays.planner import Plan, dispatch, verify
from bays.planner.exchange import read_instance, read_plan, write_plan


def instance() -> dict[str, Any]:
    work = {"dur": 15, "skill": "scan", "equip": ["tool"], "lag": 0}
    return {
        "horizon": 1440,
        "now": 0,
        "move": 10,
        "open": [[480, 1080]],
        "placements": {
            "Z1": {"zones": ["Z1"], "kind": "bay"},
            "LOT": {"zones": [], "kind": "lot"},
            "ROAD": {"zones": [], "kind": "road"},
        },
        "techs": [{"id": "T1", "skills": ["scan"], "shifts": [[480, 720], [750, 1020]]}],
        "equipment": {"tool": [{"id": "tool1", "unavail": [[500, 520]]}]},
        "vehicles": [
            {
                "id": "V1",
                "release": 480,
                "due": 600,
                "weight": 2,
                "ops": [
                    {"id": "V1.0", "kind": "scan", "placements": [], "any": True, **work},
                    {"id": "V1.1", "kind": "cal", "placements": ["Z1"], "any": False, **work},
                ],
            }
        ],
        "pins": [],
        "previous": [],
        "cost": {"tardy": 20, "flow": 1, "move": 10, "changed_start": 3, "changed_resource": 3},
    }


def test_a_written_plan_is_read_back_with_the_same_rows_and_cost() -> None:
    problem = read_instance(instance())
    plan = dispatch(problem)
    assert isinstance(plan, Plan)
    assert verify(problem, plan) == []
    assert read_plan(problem, write_plan(plan)) == plan


def test_lot_and_road_are_told_from_the_floor_and_any_is_wherever_it_stands() -> None:
    problem = read_instance(instance())
    kinds = {name: place.kind for name, place in problem.placements.items()}
    assert kinds == {"Z1": "floor", "LOT": "lot", "ROAD": "road"}
    assert [o.anywhere for o in problem.vehicles[0].operations] == [True, False]


def test_rows_that_must_not_move_are_read_as_pins() -> None:
    data = instance()
    plan = dispatch(read_instance(data))
    assert isinstance(plan, Plan)
    rows = write_plan(plan)["ops"]
    again = read_instance({**data, "pins": rows[:1], "previous": rows})
    assert again.pins == plan.rows[:1]
    assert again.previous == plan.rows
