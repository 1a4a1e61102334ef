"""Have the machine code there before anybody waits for it.

Compiling takes the better part of a minute on a new machine, loading what was compiled before
takes a second. A server that is still at it answers with plans as they are dispatched.
"""

from __future__ import annotations

from datetime import UTC, datetime
from threading import Event, Lock

from bays.planner.engine.rounds import Budget
from bays.planner.engine.search import better_rows, first_plan
from bays.planner.engine.tables import compile_problem
from bays.planner.problem import Operation, Placement, Problem, Technician, Unit, Vehicle, Window

DAY = Window(0, 480)

_ready = Event()
_serving = Event()
_one_at_a_time = Lock()


def ready() -> bool:
    """Whether this process has the code; where nobody waits for an answer, it is fetched now."""
    if not _ready.is_set() and not _serving.is_set():
        warm_up()
    return _ready.is_set()


def warm_while_serving() -> None:
    """From now on nobody in this process waits for the compiler; returns when it is done."""
    _serving.set()
    warm_up()


def warm_up() -> None:
    """Compile or load everything that plans; done once."""
    with _one_at_a_time:
        if _ready.is_set():
            return
        compiled = compile_problem(tiny_problem())
        rows = first_plan(compiled)
        if rows is None:
            raise RuntimeError("Two vehicles, one bay and one person make a plan.")
        better_rows(compiled, rows, Budget(turns=2), 0, workers=1)
        _ready.set()


def tiny_problem() -> Problem:
    """Two vehicles, one bay and one person."""
    places = [
        Placement("lot", frozenset(), "lot", "Lot"),
        Placement("bay", frozenset({"bay"}), "floor", "Bay", crosses=frozenset({"aisle"})),
    ]
    work = Operation("work", "work", 30, "any", ("tool",), ("bay",))
    return Problem(
        origin=datetime(2026, 1, 5, 8, tzinfo=UTC),
        now=0,
        horizon=DAY.end,
        move_minutes=5,
        open=(DAY,),
        placements={place.id: place for place in places},
        technicians=(Technician("one", "One", {"any": (DAY,)}, (DAY,)),),
        units=(Unit("tool", "tool", "Tool"),),
        vehicles=tuple(Vehicle(name, name, 0, 60, 1, (work,)) for name in ("a", "b")),
    )
