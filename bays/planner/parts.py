"""Which changes of a re-plan must go together, so that it can be accepted in part.

A vehicle's rows change all together or not at all: where it stands between two rows and whether
it is parked depends on both. What is left are rules between two vehicles, and those are looked
at pair by pair with the verifier's own checks: where one vehicle's new rows and another's old
ones break a rule, the first needs the second. Every set of parts that is closed under `needs`
and holds all that are `required` is therefore a plan that passes `verify`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations

from bays.planner.answers import Change, Plan, Replan, Violation
from bays.planner.checks.books import check_double_booking
from bays.planner.checks.crossings import check_crossings
from bays.planner.checks.drivers import check_drivers
from bays.planner.costs import plan_of
from bays.planner.holding import rows_by_vehicle
from bays.planner.problem import Problem, Row
from bays.planner.verify import verify


@dataclass(frozen=True, slots=True)
class Part:
    """Changes that go together; `needs` are the other parts that must be accepted with it.

    A `required` part cannot be left out: the plan as it was breaks a rule there; `says` is why,
    or what the part has to do with those it needs.
    """

    number: int
    vehicles: tuple[str, ...]
    changes: tuple[Change, ...]
    needs: frozenset[int]
    required: bool
    says: str = ""


@dataclass(frozen=True)
class Parts:
    """A re-plan taken apart. `before` are the rows of the plan it repairs."""

    replan: Replan
    before: Plan
    parts: tuple[Part, ...]

    def closed(self, chosen: Collection[int]) -> frozenset[int]:
        """The chosen parts, those that are required, and what any of them needs."""
        taken = frozenset(
            part.number for part in self.parts if part.required or part.number in chosen
        )
        return taken.union(*(part.needs for part in self.parts if part.number in taken))

    def plan(self, chosen: Collection[int]) -> Plan:
        """The plan with `closed(chosen)` accepted, everything else as it was."""
        taken = self.closed(chosen)
        new = {v for part in self.parts if part.number in taken for v in part.vehicles}
        rows = [row for row in self.replan.plan.rows if row.vehicle in new]
        rows += [row for row in self.before.rows if row.vehicle not in new]
        return plan_of(self.replan.problem, rows)


def parts(replan: Replan, before: Plan) -> Parts:
    """Take a re-plan of `before` apart. `before` is the plan in force, not its real ends."""
    pieces = _Pieces(replan, before)
    groups = _groups(pieces.reach)
    number = {vehicle: n for n, group in enumerate(groups) for vehicle in group}
    found = []
    for n, group in enumerate(groups):
        reached = {number[other] for vehicle in group for other in pieces.reach[vehicle]}
        found.append(
            Part(
                number=n,
                vehicles=group,
                changes=tuple(c for c in replan.changes if c.vehicle in group),
                needs=frozenset(reached - {n}),
                required=any(vehicle in pieces.required for vehicle in group),
                says=pieces.says(group),
            )
        )
    return Parts(replan, before, tuple(found))


@dataclass(frozen=True)
class _Pieces:
    """The vehicles that change, what each needs, and which of them must change."""

    replan: Replan
    before: Plan

    @cached_property
    def new(self) -> dict[str, list[Row]]:
        return rows_by_vehicle(self.replan.plan.rows)

    @cached_property
    def old(self) -> dict[str, list[Row]]:
        return rows_by_vehicle(self.before.rows)

    @cached_property
    def vehicles(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(change.vehicle for change in self.replan.changes))

    @cached_property
    def broken(self) -> dict[str, str]:
        """Vehicles whose rows cannot stay as they were, and the rule they would break."""
        problem = self.replan.problem
        found: dict[str, str] = {}
        for violation in verify(problem, plan_of(problem, self.before.rows)):
            for row in violation.rows:
                if row.vehicle in self.vehicles:
                    found.setdefault(row.vehicle, words(problem, violation))
        for vehicle in self.vehicles:
            if len(self.old.get(vehicle, ())) < len(problem.vehicle_by_id[vehicle].operations):
                found.setdefault(vehicle, "it has no time in the plan")
        return found

    @cached_property
    def needs(self) -> dict[str, dict[str, str]]:
        """For each vehicle the others it needs, with the rule broken otherwise."""
        found: dict[str, dict[str, str]] = {vehicle: {} for vehicle in self.vehicles}
        for one, other in permutations(self.vehicles, 2):
            says = self._clash(one, other)
            if says is not None:
                found[one][other] = says
        return found

    def _clash(self, one: str, other: str) -> str | None:
        """The rule that new rows of `one` break beside the old rows of `other`."""
        problem = self.replan.problem
        rows = [*self.new[one], *self.old.get(other, ())]
        for violation in _between(problem, rows):
            if len({row.vehicle for row in violation.rows}) > 1:
                return words(problem, violation)
        return None

    @cached_property
    def reach(self) -> dict[str, frozenset[str]]:
        """What each vehicle needs, directly or by way of others, itself as well."""
        found = {}
        for vehicle in self.vehicles:
            reached, look = {vehicle}, [vehicle]
            while look:
                more = self.needs[look.pop()].keys() - reached
                reached |= more
                look += more
            found[vehicle] = frozenset(reached)
        return found

    @cached_property
    def required(self) -> frozenset[str]:
        return frozenset[str]().union(*(self.reach[vehicle] for vehicle in self.broken))

    def says(self, group: Collection[str]) -> str:
        """Why the group cannot be left out, or why it needs others."""
        stays = [self.broken[vehicle] for vehicle in group if vehicle in self.broken]
        if stays:
            return f"cannot stay as it was: {stays[0]}"
        wanted = [
            says
            for needed, others in self.needs.items()
            for vehicle, says in others.items()
            if vehicle in group and needed not in group and needed in self.required
        ]
        if wanted and any(vehicle in self.required for vehicle in group):
            return f"makes room for what has to move: {wanted[0]}"
        reasons = [
            says
            for vehicle in group
            for other, says in self.needs[vehicle].items()
            if other not in group
        ]
        return f"goes with the others: {reasons[0]}" if reasons else ""


def _between(problem: Problem, rows: list[Row]) -> Iterator[Violation]:
    yield from check_double_booking(problem, rows)
    yield from check_crossings(problem, rows)
    yield from check_drivers(problem, rows)


def _groups(reach: Mapping[str, frozenset[str]]) -> list[tuple[str, ...]]:
    """Vehicles that need each other, in the order in which they first change."""
    groups: dict[frozenset[str], list[str]] = {}
    for vehicle, reached in reach.items():
        mutual = frozenset(other for other in reached if vehicle in reach[other])
        groups.setdefault(mutual, []).append(vehicle)
    return [tuple(group) for group in groups.values()]


def words(problem: Problem, violation: Violation) -> str:
    """A broken rule for people: labels in the place of ids."""
    says = violation.says
    names = {v.id: v.label for v in problem.vehicles}
    names |= {t.id: t.name for t in problem.technicians}
    names |= {u.id: u.label for u in problem.units}
    names |= {o.id: o.name for v in problem.vehicles for o in v.operations}
    for name in sorted(names, key=len, reverse=True):
        if name in says:
            says = _replaced(says, name, names[name])
    return says


def _replaced(says: str, name: str, label: str) -> str:
    """The name as a whole word: `visit:1` is not the beginning of `visit:12`."""
    found, at = [], 0
    while (here := says.find(name, at)) >= 0:
        end = here + len(name)
        whole = (here == 0 or not says[here - 1].isalnum()) and (
            end == len(says) or not says[end].isalnum()
        )
        found += [says[at:here], label if whole else name]
        at = end
    return "".join([*found, says[at:]])
