"""The answer to "where can this step go": spans for every zone and technician."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import chain

from bays.planner.answers import Plan
from bays.planner.calendar import cell_at_or_after, cell_span
from bays.planner.feasible import Case, Masks, Span, SpanKind, Where, runs
from bays.planner.hindrances import Hindrance, Hindrances, spoken
from bays.planner.problem import GRID_MINUTES, OperationKey, Placement, Problem, Window


def where(
    problem: Problem,
    plan: Plan,
    key: OperationKey,
    *,
    window: Window | None = None,
    zone_names: Mapping[str, str] | None = None,
    waits_for: str = "",
) -> Where:
    """Where the operation could start in the window (by default from now to the horizon).

    Nothing else moves, but for what follows in its vehicle where a span says `along`. The
    operation must not be pinned: see `loosened`.
    """
    case = Case(problem, plan, key)
    window = window or Window(problem.now, problem.horizon)
    answer = _Answer(case, window, zone_names or {}, waits_for)
    rows = {zone: answer.in_zone(zone) for zone in sorted(problem.every_zone)}
    rows |= {who.id: answer.by(who.id) for who in problem.technicians}
    return Where(key, case.row, case.operation.minutes, window, rows)


class _Answer:
    def __init__(
        self, case: Case, window: Window, zone_names: Mapping[str, str], waits_for: str
    ) -> None:
        self.case = case
        self.first, self.stop = window.start // GRID_MINUTES, cell_at_or_after(window.end)
        self.alone, self.along = Masks(case, along=False), Masks(case, along=True)
        self.why = Hindrances(case, self.along, window, zone_names, waits_for)
        self.late, self.along_late = self._past_promise(False), self._past_promise(True)
        self.floor = {p.id: (self.alone.floor(p), self.along.floor(p)) for p in case.places}
        self.shared = tuple(self.why.shared())
        self.people, self.needs = tuple(self.why.people()), tuple(self.why.needs())
        self.anywhere = tuple(self.why.floor())

    def in_zone(self, zone: str) -> tuple[Span, ...]:
        """One row of floor: the best place that takes it in."""
        case = self.case
        places = [place for place in case.places if zone in place.zones]
        if not places:
            name = self.why.name(zone)
            says = f"{name} is no place for {spoken(case.operation.name)}"
            return self._spans([], [Hindrance(-1, says)])
        options = [(place, who) for place in places for who in case.people]
        smallest = min(places, key=lambda place: (len(place.zones), place.id))
        reasons = chain(self.shared, self.why.place(smallest), self.people, self.needs)
        return self._spans(options, reasons)

    def by(self, technician: str) -> tuple[Span, ...]:
        options = [(place, technician) for place in self.case.places]
        who = self.case.problem.technician_by_id[technician]
        reasons = chain(self.shared, self.why.person(who), self.needs, self.anywhere)
        return self._spans(options, reasons)

    def _spans(
        self, options: list[tuple[Placement, str]], reasons: Iterable[Hindrance]
    ) -> tuple[Span, ...]:
        left = cell_span(self.first, self.stop)
        found: list[Span] = []
        for kind, along, says, mask in self._kinds():
            for place, who in options:
                here = left & mask & self._free(place, who, along=along)
                found += self._cut(here, kind, says, place.id, who)
                left &= ~here
        for hindrance in reasons:
            here = left & hindrance.cells
            if here:
                found += self._cut(here, "shut", hindrance.says)
                left &= ~here
        found += self._cut(left, "shut", "people, equipment and floor are not free together")
        return tuple(sorted(found, key=lambda span: span.first))

    def _kinds(self) -> Iterator[tuple[SpanKind, bool, str, int]]:
        """Kinds of places, best first; whether what follows moves along, and what is said."""
        case = self.case
        late = f"would push {case.vehicle.label} past its promise"
        late = f"{late} of {self.why.clock(case.vehicle.due)}"
        yield "open", False, "", ~self.late
        if case.loose:
            yield "along", True, self._moves_along(), ~self.along_late
        yield "late", False, late, self.late
        if case.loose:
            yield "late", True, late, self.along_late

    def _moves_along(self) -> str:
        case = self.case
        loose = [row for row in case.following if row.key in case.loose]
        name = case.problem.operation_by_key[loose[0].key].name
        more = f" and {len(loose) - 1} more" if len(loose) > 1 else ""
        return f"{name}{more} of {case.vehicle.label} would move along"

    def _free(self, place: Placement, who: str, *, along: bool) -> int:
        masks = self.along if along else self.alone
        mask = masks.common & self.floor[place.id][along] & masks.person(who)
        return mask & masks.drives(who, place) if mask else 0

    def _past_promise(self, along: bool) -> int:
        """Starts after which the vehicle is done past its promise, by the shortest way on."""
        case, problem = self.case, self.case.problem
        ends = case.operation.minutes
        if along:
            for row in case.following:
                operation = problem.operation_by_key[row.key]
                ends += operation.lag + operation.minutes - operation.shared_minutes
        elif case.following:
            return 0
        return -1 << max(0, (case.promise - ends) // GRID_MINUTES + 1)

    def _cut(
        self,
        mask: int,
        kind: SpanKind,
        says: str,
        placement: str | None = None,
        technician: str | None = None,
    ) -> Iterator[Span]:
        for first, last in runs(mask, self.first, self.stop):
            bounds = first * GRID_MINUTES, last * GRID_MINUTES
            yield Span(*bounds, kind, says, placement, technician)
