"""Which calibrations the work on a vehicle makes necessary, why, and in which order.

What triggers what is data of the shop's procedures, transcribed from the vehicle makers'
current service information; nothing here decides that a calibration can be left out.
"""

from __future__ import annotations

import heapq
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class ProcedureNeed:
    """What the rules need of a procedure: `triggers` maps a work code to its reason in words.

    `every_vehicle` marks work that any vehicle can have done, such as a wheel alignment, so
    that nobody is asked whether the vehicle has it.
    """

    code: str
    name: str
    system: str
    triggers: Mapping[str, str]
    needs_first: tuple[str, ...] = ()
    every_vehicle: bool = False


@dataclass(frozen=True)
class Need:
    """A procedure that is needed, `order` counting from 1.

    `ask`: whether the vehicle has the system is not known; the service writer must confirm.
    `after`: codes of the needs that must be finished before this one.
    """

    procedure: ProcedureNeed
    reasons: tuple[str, ...]
    order: int
    ask: bool
    after: tuple[str, ...]


class TriggersRefused(Exception):
    """The procedures contradict themselves. `path` is the chain of codes, first one repeated."""

    def __init__(self, code: str, says: str, right: str, path: tuple[str, ...] = ()) -> None:
        super().__init__(says)
        self.code = code
        self.says = says
        self.right = right
        self.path = path


def needed(
    work: Iterable[str],
    vehicle_systems: Collection[str],
    procedures: tuple[ProcedureNeed, ...],
    *,
    absent_systems: Collection[str] = frozenset(),
    done: Collection[str] = frozenset(),
) -> tuple[Need, ...]:
    """The procedures a vehicle needs after some work, prerequisites first, each with reasons.

    A system in neither `vehicle_systems` nor `absent_systems` is unknown: its procedures are
    kept and marked `ask`. `done` names procedures already carried out in this visit; they are
    not needed again as a prerequisite, but a trigger of their own still counts.
    Among procedures free of each other the order given is kept.

    Raises:
        TriggersRefused: prerequisites that run in a circle or do not exist, a code given twice.
    """
    by_code = check_procedures(procedures)
    fitted = {
        code
        for code, procedure in by_code.items()
        if procedure.every_vehicle or procedure.system not in absent_systems
    }
    reasons = _triggered(tuple(dict.fromkeys(work)), by_code, fitted)
    _add_prerequisites(reasons, by_code, fitted, done)
    after = {
        code: tuple(first for first in by_code[code].needs_first if first in reasons)
        for code in reasons
    }
    ranked = _ordered(after, {procedure.code: at for at, procedure in enumerate(procedures)})
    return tuple(
        Need(
            procedure=by_code[code],
            reasons=tuple(reasons[code]),
            order=order,
            ask=not by_code[code].every_vehicle and by_code[code].system not in vehicle_systems,
            after=after[code],
        )
        for order, code in enumerate(ranked, 1)
    )


def unmatched_work(work: Iterable[str], procedures: Iterable[ProcedureNeed]) -> tuple[str, ...]:
    """Work codes no procedure knows: to be looked at by a person, not passed over."""
    known = {code for procedure in procedures for code in procedure.triggers}
    return tuple(code for code in dict.fromkeys(work) if code not in known)


def check_procedures(procedures: Iterable[ProcedureNeed]) -> dict[str, ProcedureNeed]:
    """The procedures by code, once they are free of contradictions.

    Raises:
        TriggersRefused: code "twice", "unknown_prerequisite" or "circle" (with its path).
    """
    by_code: dict[str, ProcedureNeed] = {}
    for procedure in procedures:
        if procedure.code in by_code:
            says = f"two procedures have the code {procedure.code}"
            raise TriggersRefused("twice", says, "one procedure for each code", (procedure.code,))
        by_code[procedure.code] = procedure
    for procedure in by_code.values():
        for first in procedure.needs_first:
            if first not in by_code:
                raise TriggersRefused(
                    "unknown_prerequisite",
                    f"{procedure.name} needs {first} first, but there is no such procedure",
                    f"add the procedure {first}, or take it out of {procedure.code}",
                    (procedure.code, first),
                )
    circle = _circle(by_code)
    if circle:
        names = " → ".join(by_code[code].name for code in circle)
        raise TriggersRefused(
            "circle",
            f"these need each other first: {names}",
            "take one of them out of the other's list",
            circle,
        )
    return by_code


def _triggered(
    work: tuple[str, ...], by_code: Mapping[str, ProcedureNeed], fitted: Collection[str]
) -> dict[str, list[str]]:
    reasons: dict[str, list[str]] = {}
    for code, procedure in by_code.items():
        told = [
            procedure.triggers[item].strip() or item.replace("_", " ")
            for item in work
            if item in procedure.triggers
        ]
        if told and code in fitted:
            reasons[code] = list(dict.fromkeys(told))
    return reasons


def _add_prerequisites(
    reasons: dict[str, list[str]],
    by_code: Mapping[str, ProcedureNeed],
    fitted: Collection[str],
    done: Collection[str],
) -> None:
    waiting = list(reasons)
    while waiting:
        code = waiting.pop(0)
        for first in by_code[code].needs_first:
            if first not in fitted or (first in done and first not in reasons):
                continue
            if first not in reasons:
                reasons[first] = []
                waiting.append(first)
            reasons[first].append(f"{by_code[code].name} needs {by_code[first].name} first")


def _ordered(after: Mapping[str, tuple[str, ...]], rank: Mapping[str, int]) -> list[str]:
    """Topological order, smallest rank first among those that are free (Kahn's method)."""
    open_count = {code: len(set(firsts)) for code, firsts in after.items()}
    heap = [(rank[code], code) for code, count in open_count.items() if count == 0]
    heapq.heapify(heap)
    ordered: list[str] = []
    while heap:
        _, code = heapq.heappop(heap)
        ordered.append(code)
        for later, firsts in after.items():
            if code in firsts:
                open_count[later] -= 1
                if open_count[later] == 0:
                    heapq.heappush(heap, (rank[later], later))
    return ordered


def _circle(by_code: Mapping[str, ProcedureNeed]) -> tuple[str, ...]:
    """The first circle of prerequisites, its first code repeated at the end; () if none.

    Depth first without recursion, so that a long chain of procedures cannot exhaust the stack.
    """
    finished: set[str] = set()
    for start in by_code:
        if start in finished:
            continue
        path = [start]
        open_edges = [iter(by_code[start].needs_first)]
        while path:
            following = next(open_edges[-1], None)
            if following is None:
                finished.add(path.pop())
                open_edges.pop()
            elif following in path:
                return (*path[path.index(following) :], following)
            elif following not in finished:
                path.append(following)
                open_edges.append(iter(by_code[following].needs_first))
    return ()
