"""A small invented shop with one of everything, and random ones, for the planner's tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from bays.planner import (
    Blocked,
    Operation,
    Placement,
    Problem,
    Technician,
    Unit,
    Vehicle,
    Window,
)

ORIGIN = datetime(2026, 3, 2, tzinfo=ZoneInfo("Europe/Dublin"))  # a Monday
DAY = 1440
OPENS, CLOSES = 8 * 60, 18 * 60


def at(hour: int, minute: int = 0, day: int = 0) -> int:
    return day * DAY + hour * 60 + minute


def days(count: int, start: int = OPENS, end: int = CLOSES) -> tuple[Window, ...]:
    return tuple(Window(day * DAY + start, day * DAY + end) for day in range(count))


DAYS = 4
ALWAYS = (Window(0, DAYS * DAY),)
LOT = Placement("lot", frozenset(), "lot", "the lot")
ROAD = Placement("road", frozenset(), "road", "the road")
BAY_1 = Placement("bay-1", frozenset({"z1"}), "floor", "Bay 1", 120.0)
BAY_2 = Placement("bay-2", frozenset({"z2"}), "floor", "Bay 2", 90.0)
WIDE = Placement("wide", frozenset({"z1", "z2"}), "floor", "Bays 1 + 2", 300.0)
RACK = Placement("rack", frozenset({"z3"}), "floor", "Rack", 50.0)
PLACEMENTS = {p.id: p for p in (LOT, ROAD, BAY_1, BAY_2, WIDE, RACK)}


def technician(name: str, *skills: str, shifts: tuple[Window, ...] = days(DAYS)) -> Technician:
    return Technician(name.lower(), name, dict.fromkeys(skills, ALWAYS), shifts)


ADA = technician("Ada", "scan", "camera", "surround", "road")
BRAM = technician("Bram", "scan", "camera", "align")
MAT = Unit("mat-1", "mat_set", "Mat set 1")
FRAMES = (Unit("frame-1", "frame", "Frame 1"), Unit("frame-2", "frame", "Frame 2"))
SCANNERS = (Unit("scan-1", "scan_tool", "Scan tool 1"), Unit("scan-2", "scan_tool", "Scan tool 2"))


def scan(name: str = "scan", **changes: Any) -> Operation:
    facts = {"minutes": 15, "skill": "scan", "equipment": ("scan_tool",), "placements": ()}
    return Operation(id=name, kind="scan", label="Scan", **{**facts, "anywhere": True, **changes})


def camera(name: str = "camera", **changes: Any) -> Operation:
    facts = {
        "minutes": 40,
        "skill": "camera",
        "equipment": ("frame",),
        "placements": ("bay-1", "bay-2"),
    }
    return Operation(id=name, kind="camera", label="Front camera", **{**facts, **changes})


def surround(name: str = "surround", **changes: Any) -> Operation:
    facts = {
        "minutes": 60,
        "skill": "surround",
        "equipment": ("mat_set",),
        "placements": ("wide",),
    }
    return Operation(id=name, kind="surround", label="Surround view", **{**facts, **changes})


def drive(name: str = "drive", **changes: Any) -> Operation:
    facts = {"minutes": 30, "skill": "road", "equipment": (), "placements": ("road",)}
    return Operation(id=name, kind="drive", label="Road drive", **{**facts, **changes})


def vehicle(
    name: str,
    *operations: Operation,
    release: int = OPENS,
    due: int = CLOSES,
    weight: int = 1,
) -> Vehicle:
    return Vehicle(name, f"RO {name}", release, due, weight, operations)


def shop(*vehicles: Vehicle, **changes: Any) -> Problem:
    facts: dict[str, Any] = {
        "origin": ORIGIN,
        "now": OPENS,
        "horizon": DAYS * DAY,
        "move_minutes": 10,
        "open": days(DAYS),
        "placements": PLACEMENTS,
        "technicians": (ADA, BRAM),
        "units": (MAT, *FRAMES, *SCANNERS),
        "vehicles": vehicles,
    }
    return Problem(**{**facts, **changes})


KINDS = (scan, camera, surround, drive)


@st.composite
def operations(draw: st.DrawFn, number: int) -> Operation:
    kind = draw(st.sampled_from(KINDS))
    changes: dict[str, Any] = {"lag": draw(st.sampled_from([0, 0, 0, 7, 60, 500]))}
    if draw(st.booleans()):
        changes["minutes"] = draw(st.sampled_from([13, 20, 45, 90, 180]))
    if draw(st.integers(0, 3)) == 0:
        changes["second_person_minutes"] = draw(st.sampled_from([4, 10]))
    if kind is camera and draw(st.integers(0, 5)) == 0:
        changes["equipment"] = ("frame", "frame", "scan_tool")
    if kind is scan and draw(st.integers(0, 5)) == 0:
        changes["skill"] = None
    made: Operation = kind(f"{kind.__name__}-{number}", **changes)
    return made


@st.composite
def operations_with_all(draw: st.DrawFn, number: int) -> Operation:
    """As `operations`, some waiting for parts, with units by name, or with set-ups to share."""
    made = draw(operations(number))
    changes: dict[str, Any] = {}
    if draw(st.integers(0, 4)) == 0:
        changes["not_before"] = draw(st.integers(0, 2 * DAY))
    if draw(st.integers(0, 4)) == 0:
        changes["exact_units"] = draw(st.sampled_from([("scan-1",), ("frame-2",), ("mat-1",)]))
    least = made.minutes - max(made.second_person_minutes, 5)
    if draw(st.booleans()) and least > 0:
        changes["set_up"] = "frame at the front"
        changes["shared_minutes"] = draw(st.integers(0, least))
        changes["lag"] = 0
    return replace(made, **changes)


@st.composite
def vehicles(draw: st.DrawFn, name: str, with_all: bool = False) -> Vehicle:
    count = draw(st.integers(1, 5))
    release = draw(st.integers(5 * 60, 20 * 60))
    kinds = operations_with_all if with_all else operations
    made = vehicle(
        name,
        *(draw(kinds(number)) for number in range(count)),
        release=release,
        due=release + draw(st.integers(60, 700)),
        weight=draw(st.sampled_from([1, 2, 4])),
    )
    if not with_all:
        return made
    stands = draw(st.sampled_from([None, None, "rack", "bay-2"]))
    return replace(made, flow_weight=draw(st.sampled_from([1, 1, 0])), stands=stands)


@st.composite
def pairs_with_one_set_up(draw: st.DrawFn, name: str) -> Vehicle:
    """Calibrations after one another with one frame, so that set-ups do get shared."""
    minutes = draw(st.sampled_from([20, 35, 50]))
    share = {"set_up": "frame at the front", "minutes": minutes, "shared_minutes": minutes - 10}
    return vehicle(name, camera("one", **share), camera("two", **share), camera("three", **share))


def windows_today() -> st.SearchStrategy[Window]:
    return st.builds(
        lambda start, minutes: Window(start, start + minutes),
        st.integers(7 * 60, 17 * 60),
        st.integers(1, 300),
    )


@st.composite
def shops(draw: st.DrawFn, most: int = 6, with_all: bool = False) -> Problem:
    """Two or three people with lunches, units with downtimes, floor with closures.

    `with_all`: whatever a real shop has besides, technicians who drive and zones to drive through
    included.
    """
    people = []
    for name, skills in (("Ada", ADA.skills), ("Bram", BRAM.skills), ("Cleo", ADA.skills)):
        lunch = draw(st.integers(11 * 60, 14 * 60))
        shifts = (*days(DAYS, OPENS, lunch), *days(DAYS, lunch + 30, CLOSES))
        valid = (Window(0, draw(st.sampled_from([DAY, DAYS * DAY]))), Window(DAY, DAYS * DAY))
        people.append(Technician(name.lower(), name, dict.fromkeys(skills, valid), shifts))
    units = tuple(
        Unit(u.id, u.type, u.label, tuple(draw(st.lists(windows_today(), max_size=1))))
        for u in (MAT, *FRAMES, *SCANNERS)
    )
    blocked = tuple(
        Blocked(draw(st.sampled_from(["z1", "z2", "z3", "ada", "scan-1"])), window, "closed")
        for window in draw(st.lists(windows_today(), max_size=2))
    )
    names = [f"v{number}" for number in range(draw(st.integers(1, most)))]
    made = shop(
        *(draw(vehicles(name, with_all)) for name in names),
        now=draw(st.sampled_from([0, OPENS, OPENS + 63])),
        technicians=tuple(people),
        units=units,
        blocked=blocked,
    )
    if not with_all:
        return made
    driven = replace(BAY_2, drive_minutes=draw(st.sampled_from([None, 3, 15])))
    if draw(st.booleans()):
        driven = replace(driven, crosses=frozenset({"z1"}))
    return replace(
        made,
        vehicles=(*made.vehicles, draw(pairs_with_one_set_up("pair"))),
        placements={**PLACEMENTS, "bay-2": driven},
        technicians_drive=draw(st.booleans()),
    )
