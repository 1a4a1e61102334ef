"""Problems and plans as JSON, the form in which a question is written down outside the service.

An instance holds whole minutes from 00:00 of day 0:

    {"horizon", "now", "move": minutes, "open": [[a, b]..],
     "placements": {id: {"zones": [id..], "kind": "lot" | "road" | any other word for floor}},
     "techs": [{"id", "skills": [..], "shifts": [[a, b]..]}],
     "equipment": {type: [{"id", "unavail": [[a, b]..]}]},
     "vehicles": [{"id", "release", "due", "weight",
                   "ops": [{"id", "kind", "dur", "skill", "equip": [type..],
                            "placements": [id..], "any": bool, "lag"}]}],
     "pins": [row..], "previous": [row..],
     "cost": {"tardy", "flow", "move", "changed_start", "changed_resource"}}

A plan is {"ops": [row..]}, and a row is
{"vehicle", "op", "start", "end", "tech", "equip": [unit..], "placement", "park_after"}.
`any` is wherever the vehicle stands, the road not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import Any

from bays.planner.answers import Plan
from bays.planner.costs import plan_of
from bays.planner.problem import (
    Costs,
    Operation,
    Placement,
    PlacementKind,
    Problem,
    Row,
    Technician,
    Unit,
    Vehicle,
    Window,
)

Json = Mapping[str, Any]

# Day 0 of an instance has no date; words about it need one. A Monday.
ORIGIN = datetime(2026, 1, 5, tzinfo=UTC)
UNPLACED: dict[str, PlacementKind] = {"lot": "lot", "road": "road"}


def read_instance(data: Json) -> Problem:
    """The instance as a problem. A missing or ill-formed field raises KeyError or TypeError."""
    horizon = data["horizon"]
    return Problem(
        origin=ORIGIN,
        now=data["now"],
        horizon=horizon,
        move_minutes=data["move"],
        open=_windows(data["open"]),
        placements={name: _placement(name, place) for name, place in data["placements"].items()},
        technicians=tuple(_technician(person, horizon) for person in data["techs"]),
        units=tuple(
            Unit(unit["id"], kind, unit["id"], _windows(unit["unavail"]))
            for kind, units in data["equipment"].items()
            for unit in units
        ),
        vehicles=tuple(_vehicle(vehicle) for vehicle in data["vehicles"]),
        pins=tuple(_row(row) for row in data["pins"]),
        previous=tuple(_row(row) for row in data["previous"]),
        costs=Costs(**data["cost"]),
        zones=frozenset(data.get("zones", ())),
    )


def read_plan(problem: Problem, data: Json) -> Plan:
    """The plan with its cost and late minutes reckoned from its rows."""
    return plan_of(problem, (_row(row) for row in data["ops"]))


def write_plan(plan: Plan) -> dict[str, list[dict[str, Any]]]:
    """The plan's rows as JSON values; a second person has no place in this form."""
    return {
        "ops": [
            {
                "vehicle": row.vehicle,
                "op": row.operation,
                "start": row.start,
                "end": row.end,
                "tech": row.technician,
                "equip": list(row.units),
                "placement": row.placement,
                "park_after": row.park_after,
            }
            for row in plan.rows
        ]
    }


def _windows(pairs: Iterable[tuple[int, int]]) -> tuple[Window, ...]:
    return tuple(Window(start, end) for start, end in pairs)


def _placement(name: str, place: Json) -> Placement:
    kind = UNPLACED.get(place["kind"], "floor")
    return Placement(name, frozenset(place["zones"]), kind, name)


def _technician(person: Json, horizon: int) -> Technician:
    always = (Window(0, horizon),)
    skills = dict.fromkeys(person["skills"], always)
    return Technician(person["id"], person["id"], skills, _windows(person["shifts"]))


def _vehicle(vehicle: Json) -> Vehicle:
    return Vehicle(
        id=vehicle["id"],
        label=vehicle["id"],
        release=vehicle["release"],
        due=vehicle["due"],
        weight=vehicle["weight"],
        operations=tuple(_operation(operation) for operation in vehicle["ops"]),
    )


def _operation(operation: Json) -> Operation:
    return Operation(
        id=operation["id"],
        kind=operation["kind"],
        minutes=operation["dur"],
        skill=operation["skill"],
        equipment=tuple(operation["equip"]),
        placements=tuple(operation["placements"]),
        anywhere=operation["any"],
        lag=operation["lag"],
    )


def _row(row: Json) -> Row:
    return Row(
        vehicle=row["vehicle"],
        operation=row["op"],
        start=row["start"],
        end=row["end"],
        technician=row["tech"],
        second_person=None,
        units=tuple(row["equip"]),
        placement=row["placement"],
        park_after=row["park_after"],
    )
