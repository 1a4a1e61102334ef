"""What if the shop were another: past demand planned again in both, and how they compare.

Demand is planned week by week: at the start of each, every vehicle that will come in it is known
(perfect knowledge of the week, which no shop has), and what began before keeps its place. Both
shops are planned by the same means, once for every seed. That tells how the shops differ, not how
the past really went: compare it with the base, never with what happened.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

from bays.planner.answers import Infeasible, ModelError, NotProved, Plan
from bays.planner.costs import plan_of
from bays.planner.dispatch import dispatch
from bays.planner.holding import holds, rows_by_vehicle
from bays.planner.other_shop import Change, other_shop
from bays.planner.problem import Problem, Row, Window
from bays.planner.trials import Budget, Spread, Tell, improved, untold

WEEK_MINUTES = 7 * 24 * 60
# What a week leaves undone may take this much longer before it counts as without a plan.
OVERRUN_MINUTES = 7 * 24 * 60


@dataclass(frozen=True, slots=True)
class Month:
    """Past demand: every vehicle that came, and the stretches it is planned in, in order."""

    problem: Problem
    weeks: tuple[Window, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run over the month. Shares of use are of opening hours or shifts, 0 to 1."""

    visits: int
    kept: int
    late_minutes: int
    not_planned: int
    done_a_day: float
    hours_here: float
    use: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Result:
    """A shop over all seeds."""

    name: str
    visits: int
    kept: Spread
    late_minutes: Spread
    not_planned: Spread
    done_a_day: Spread
    hours_here: Spread
    use: Mapping[str, Spread]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The shop as it was, and the others; `says` tells what the change is worth."""

    says: str
    results: tuple[Result, ...]


def weeks_of(start: int, end: int) -> tuple[Window, ...]:
    """Stretches of a week from `start`; the last may be shorter."""
    return tuple(
        Window(begins, min(begins + WEEK_MINUTES, end))
        for begins in range(start, end, WEEK_MINUTES)
    )


def compare(
    month: Month,
    changes: Sequence[tuple[str, Change, int]],
    budget: Budget,
    *,
    tell: Tell = untold,
) -> Comparison:
    """Plan the month in the shop as it was and in each changed one.

    `changes` are a name, a change and how often it is made. `tell` hears how many of how many
    weeks are planned; what it raises ends the work.

    Raises:
        NoSuchThing: a change of something the shop has not.
    """
    shops = [("as it was", month.problem)]
    for name, change, times in changes:
        shop = month.problem
        for number in range(1, times + 1):
            shop = other_shop(shop, change, number)
        shops.append((name, shop))
    of = len(shops) * len(budget.seeds) * len(month.weeks)
    done = 0
    results = []
    for name, shop in shops:
        runs = []
        for seed in budget.seeds:
            told = partial(_tell_from, tell, done, of)
            runs.append(outcome(shop, month.weeks, budget.seconds, seed, told))
            done += len(month.weeks)
        results.append(_result(name, runs))
    tell(of, of)
    return Comparison(_told(results), tuple(results))


def _tell_from(tell: Tell, already: int, of: int, done: int, _: int) -> None:
    tell(already + done, of)


def outcome(
    shop: Problem,
    weeks: Sequence[Window],
    seconds: float,
    seed: int,
    tell: Tell = untold,
) -> Outcome:
    """One run of the whole month."""
    rows: dict[str, list[Row]] = {}
    dropped: set[str] = set()
    for number, week in enumerate(weeks):
        tell(number, len(weeks))
        problem = _week(shop, week, rows, dropped)
        if not problem.vehicles:
            continue
        plan = _planned(problem, dropped)
        if plan is None:
            continue
        known = frozenset(row.vehicle for row in plan.rows)
        problem = replace(problem, vehicles=tuple(v for v in problem.vehicles if v.id in known))
        rows |= rows_by_vehicle(improved(problem, plan, seconds, seed).rows)
    return _outcome(shop, weeks, rows, dropped)


def _week(
    shop: Problem, week: Window, rows: Mapping[str, Sequence[Row]], dropped: set[str]
) -> Problem:
    """The week's question: who is here or comes, with what has begun fixed where it was."""
    here = tuple(
        v
        for v in shop.vehicles
        if v.release < week.end
        and v.id not in dropped
        and (v.id not in rows or rows[v.id][-1].end > week.start)
    )
    begun = tuple(row for v in here for row in rows.get(v.id, ()) if row.start < week.start)
    horizon = min(shop.horizon, week.end + OVERRUN_MINUTES)
    return replace(shop, now=week.start, horizon=horizon, vehicles=here, pins=begun, previous=())


def _planned(problem: Problem, dropped: set[str]) -> Plan | None:
    """A plan in promise order; a vehicle that finds no room is left out and counted."""
    while problem.vehicles:
        answer = dispatch(problem)
        if isinstance(answer, Plan):
            return answer
        if isinstance(answer, ModelError):
            raise ValueError(answer.says)
        assert isinstance(answer, Infeasible | NotProved)
        dropped.add(answer.vehicle)
        problem = replace(
            problem,
            vehicles=tuple(v for v in problem.vehicles if v.id != answer.vehicle),
            pins=tuple(row for row in problem.pins if row.vehicle != answer.vehicle),
        )
    return None


def _outcome(
    shop: Problem, weeks: Sequence[Window], rows: Mapping[str, Sequence[Row]], dropped: set[str]
) -> Outcome:
    done = {name: own for name, own in rows.items() if name not in dropped}
    plan = plan_of(shop, [row for own in done.values() for row in own])
    span = Window(weeks[0].start, weeks[-1].end) if weeks else Window(0, 0)
    inside = [own[-1].end for own in done.values() if own[-1].end <= span.end]
    open_days = {shop.moment(w.start).date() for w in shop.open if span.start <= w.start < span.end}
    here = [own[-1].end - shop.vehicle_by_id[name].release for name, own in done.items()]
    return Outcome(
        visits=len(shop.vehicles),
        kept=len(done) - len(plan.late),
        late_minutes=sum(plan.late.values()),
        not_planned=len(shop.vehicles) - len(done),
        done_a_day=len(inside) / len(open_days) if open_days else 0.0,
        hours_here=sum(here) / len(here) / 60 if here else 0.0,
        use=_use(shop, span, done.values()),
    )


def _use(shop: Problem, span: Window, vehicles: Iterable[Sequence[Row]]) -> dict[str, float]:
    """Mean share of use of the floor, of the people and of each type of unit."""
    held: dict[str, list[Window]] = defaultdict(list)
    for own in vehicles:
        for hold in holds(shop, own):
            held[hold.resource].append(Window(hold.start, hold.end))
    opened = [_clip(w, span) for w in shop.open]
    floor = {zone for place in shop.placements.values() for zone in place.zones}
    use = {"floor": _share((held[zone], opened) for zone in sorted(floor))}
    use["people"] = _share(
        (held[person.id], [_clip(w, span) for w in person.shifts]) for person in shop.technicians
    )
    for names in sorted(shop.units_by_type.values()):
        noun = shop.unit_by_id[names[0]].noun
        use[noun] = _share((held[name], opened) for name in names)
    return use


def _share(pairs: Iterable[tuple[Sequence[Window], Sequence[Window]]]) -> float:
    taken = there = 0
    for held, opened in pairs:
        there += sum(max(0, w.end - w.start) for w in opened)
        taken += sum(
            max(0, min(h.end, w.end) - max(h.start, w.start)) for h in held for w in opened
        )
    return taken / there if there else 0.0


def _clip(window: Window, span: Window) -> Window:
    return Window(max(window.start, span.start), min(window.end, span.end))


def _result(name: str, runs: Sequence[Outcome]) -> Result:
    return Result(
        name=name,
        visits=runs[0].visits,
        kept=Spread.of(run.kept for run in runs),
        late_minutes=Spread.of(run.late_minutes for run in runs),
        not_planned=Spread.of(run.not_planned for run in runs),
        done_a_day=Spread.of(run.done_a_day for run in runs),
        hours_here=Spread.of(run.hours_here for run in runs),
        use={key: Spread.of(run.use[key] for run in runs) for key in runs[0].use},
    )


def _told(results: Sequence[Result]) -> str:
    """What each shop is worth against the one before it, in a sentence."""
    base = results[0]
    if not base.visits:
        return "There was nothing to plan: no vehicle came."
    parts = []
    for number, (before, after) in enumerate(pairwise(results)):
        parts.append(_against(before, after, of=base.visits if not number else 0))
    sentence = "; ".join(parts)
    return f"{sentence[:1].upper()}{sentence[1:]}."


def _against(before: Result, after: Result, of: int) -> str:
    """`of` is how many promises there were, told with the first."""
    gain = round(after.kept.middle - before.kept.middle)
    less = round(before.late_minutes.middle - after.late_minutes.middle)
    total = f" of {of}" if of else ""
    more = before.kept.surely_below(after.kept)
    fewer = after.kept.surely_below(before.kept)
    if more or fewer:
        count = abs(gain)
        says = f"kept {count} {'more' if more else 'fewer'} promise{'s' * (count != 1)}{total}"
    elif after.late_minutes.surely_below(before.late_minutes):
        return (
            f"{after.name} would have kept as many promises{total}, with {less} minutes late fewer"
        )
    elif before.late_minutes.surely_below(after.late_minutes):
        return f"{after.name} would have meant {-less} minutes late more"
    else:
        kept = f" ({round(before.kept.middle)} of {of} promises kept either way)" if of else ""
        return f"{after.name} would have changed nothing that is more than chance{kept}"
    minutes = f", {abs(less)} minutes late {'fewer' if less > 0 else 'more'} in all" if less else ""
    return f"{after.name} would have {says}{minutes}"
