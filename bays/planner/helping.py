"""What would help a vehicle most: each remedy planned anew, with figures that outweigh chance.

A remedy is compared with the same question planned again without it, by the same means: as many
seconds, the same seeds, the same beginnings. What the fresh planning alone gains is told apart
from what the remedy gains. A gain counts only where every run with the remedy is better than
every run without.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bays.planner.answers import Plan
from bays.planner.explain import explain
from bays.planner.problem import GRID_MINUTES, Problem, Row, Vehicle
from bays.planner.remedies import Remedy, RemedyKind, remedies
from bays.planner.trials import Budget, Spread, Tell, frozen, planned, untold

FREEZE_MINUTES = 30


@dataclass(frozen=True, slots=True)
class Lateness:
    """How a plan stands: the vehicle's end and minutes past its promise, and all the others."""

    done: int
    late: int
    others_late: int
    all_minutes: int


@dataclass(frozen=True, slots=True)
class Helped:
    """A remedy that helps, by its middle run; `says` tells it against the base in words."""

    id: str
    kind: RemedyKind
    what: str
    after: Lateness
    minutes_sooner: int
    fewer_others_late: int
    fewer_minutes: int
    says: str


@dataclass(frozen=True, slots=True)
class Help:
    """The answer: how it stands, what planning again would do, what helps, what does not.

    `noise_minutes` is how far the runs without any remedy lie apart in minutes late of all
    vehicles, `runs` how many there were of each question.
    """

    vehicle: str
    says: str
    in_force: Lateness
    again: Lateness
    noise_minutes: int
    runs: int
    helps: tuple[Helped, ...]
    helps_not: tuple[str, ...]


def what_helps(
    problem: Problem,
    plan: Plan,
    vehicle: str,
    budget: Budget | None = None,
    *,
    freeze_minutes: int = FREEZE_MINUTES,
    tell: Tell = untold,
) -> Help:
    """Try each remedy for the vehicle and rank those that help by the minutes late they save.

    Pins stay, and so does what begins within `freeze_minutes`. `tell` hears how many of how many
    questions are planned; what it raises ends the work.

    Raises:
        KeyError: the plan has no rows for the vehicle.
    """
    budget = budget or Budget()
    chain = explain(problem, plan, vehicle).chain
    calm = frozen(problem, plan, freeze_minutes)
    tries = remedies(calm, plan, vehicle, chain)
    tell(0, len(tries) + 1)
    before = _standings(calm, planned(calm, plan, budget, (vehicle,)), vehicle) or (
        _standing(calm, plan.rows, vehicle),
    )
    found: list[Helped] = []
    not_found: list[str] = []
    for number, remedy in enumerate(tries, start=1):
        tell(number, len(tries) + 1)
        helped = _tried(calm, plan, vehicle, remedy, before, budget)
        if helped is None:
            not_found.append(remedy.says)
        else:
            found.append(helped)
    tell(len(tries) + 1, len(tries) + 1)
    found.sort(key=lambda one: (-one.fewer_minutes, -one.minutes_sooner, one.id))
    spread = Spread.of(one.all_minutes for one in before)
    in_force, again = _standing(calm, plan.rows, vehicle), _middle(before)
    return Help(
        vehicle=vehicle,
        says=_summary(calm, calm.vehicle_by_id[vehicle], in_force, again, found),
        in_force=in_force,
        again=again,
        noise_minutes=int(spread.high - spread.low),
        runs=len(budget.seeds),
        helps=tuple(found),
        helps_not=tuple(not_found),
    )


def _tried(
    problem: Problem,
    plan: Plan,
    vehicle: str,
    remedy: Remedy,
    before: tuple[Lateness, ...],
    budget: Budget,
) -> Helped | None:
    """What the remedy gains; None where that is not surely more than nothing."""
    plans = planned(remedy.problem, plan, budget, remedy.first)
    after = _standings(remedy.problem, plans, vehicle)
    if not after:
        return None
    again, then = _middle(before), _middle(after)
    if not _helps(problem, vehicle, remedy, before, after):
        return None
    helped = Helped(
        id=remedy.id,
        kind=remedy.kind,
        what=remedy.says,
        after=then,
        minutes_sooner=again.done - then.done,
        fewer_others_late=again.others_late - then.others_late,
        fewer_minutes=again.all_minutes - then.all_minutes,
        says="",
    )
    return _worded(problem, vehicle, helped, again)


def _helps(
    problem: Problem,
    vehicle: str,
    remedy: Remedy,
    before: tuple[Lateness, ...],
    after: tuple[Lateness, ...],
) -> bool:
    """Whether the vehicle surely gains, or all together do without its being any later.

    A promise that is moved must help the vehicle itself, and only where it is late: that fewer
    minutes late are counted against a later time is no gain.
    """
    again, then = _middle(before), _middle(after)
    own = Spread.of(_overrun(remedy.problem, vehicle, one) for one in after).surely_below(
        Spread.of(_overrun(problem, vehicle, one) for one in before)
    )
    if remedy.kind == "promise":
        return own and (again.late > 0 or remedy.id != f"promise:{vehicle}")
    everyone = Spread.of(one.all_minutes for one in after).surely_below(
        Spread.of(one.all_minutes for one in before)
    )
    return own or (everyone and then.done <= again.done)


def _overrun(problem: Problem, vehicle: str, one: Lateness) -> int:
    """Minutes past the promise, below zero where there is room left."""
    return one.done - problem.vehicle_by_id[vehicle].due


def _standings(problem: Problem, plans: Iterable[Plan], vehicle: str) -> tuple[Lateness, ...]:
    return tuple(_standing(problem, plan.rows, vehicle) for plan in plans)


def _standing(problem: Problem, rows: Iterable[Row], vehicle: str) -> Lateness:
    done: dict[str, int] = {}
    for row in rows:
        done[row.vehicle] = max(done.get(row.vehicle, 0), row.end)
    late = {name: max(0, end - problem.vehicle_by_id[name].due) for name, end in done.items()}
    return Lateness(
        done=done[vehicle],
        late=late[vehicle],
        others_late=sum(minutes > 0 for name, minutes in late.items() if name != vehicle),
        all_minutes=sum(late.values()),
    )


def _middle(runs: tuple[Lateness, ...]) -> Lateness:
    """The run in the middle by minutes late in all: figures of one plan that can be had."""
    ordered = sorted(runs, key=lambda one: (one.all_minutes, one.done))
    return ordered[(len(ordered) - 1) // 2]


def _worded(problem: Problem, vehicle: str, helped: Helped, again: Lateness) -> Helped:
    label, then = problem.vehicle_by_id[vehicle].label, helped.after
    if then.done == again.done:
        own = f"{label} done {problem.clock(then.done)} all the same"
    else:
        own = f"{label} done {problem.clock(then.done)} instead of {problem.clock(again.done)}"
    if again.late and not then.late:
        own += ", on time"
    parts = [own, *_others(helped.fewer_others_late), *_in_all(helped.fewer_minutes)]
    return Helped(
        helped.id,
        helped.kind,
        helped.what,
        then,
        helped.minutes_sooner,
        helped.fewer_others_late,
        helped.fewer_minutes,
        f"{helped.what}: {', '.join(parts)}",
    )


def _others(fewer: int) -> list[str]:
    if not fewer:
        return []
    count = abs(fewer)
    visits = "visit" if count == 1 else "visits"
    return [f"{count} other late {visits} on time" if fewer > 0 else f"{count} more {visits} late"]


def _in_all(fewer: int) -> list[str]:
    if not fewer:
        return []
    return [f"{abs(fewer)} minutes late {'fewer' if fewer > 0 else 'more'} in all"]


def _summary(
    problem: Problem, vehicle: Vehicle, in_force: Lateness, again: Lateness, found: list[Helped]
) -> str:
    """The best in one sentence, and first what merely planning again would do."""
    gain = in_force.done - again.done
    start = ""
    if gain >= GRID_MINUTES:
        start = f"Planning again alone brings {vehicle.label} to {problem.clock(again.done)}. "
    if not found:
        return f"{start}Nothing that was tried helps {vehicle.label}."
    best = found[0].says
    return f"{start}Most of all: {best}."
