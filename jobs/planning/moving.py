"""One step of the shop's plan, ready to be moved by hand: where it can go on a day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from bays import hours
from bays.convert.planner import code_of, zone_key
from bays.planner import Problem, Window
from bays.planner.feasible import Span, SpanKind, loosened
from bays.planner.places import where
from bays.planner.problem import OperationKey
from jobs.models import Step
from jobs.planning.problem import ShopPlan, load_shop_plan, operation_id, vehicle_id
from jobs.selectors.procedures import content_of
from shopcal.accounts.models import Shop
from shopcal.errors import Conflict


@dataclass(frozen=True)
class Moving:
    """The shop's plan with one step's pin taken off, so that it may be moved."""

    shop_plan: ShopPlan
    problem: Problem
    key: OperationKey

    @property
    def step(self) -> Step:
        return self.shop_plan.steps[self.key[1]]


@dataclass(frozen=True)
class StartSpan:
    """Starts from ``first`` to ``last`` that are alike; see ``bays.planner.feasible.Span``."""

    first: datetime
    last: datetime
    kind: SpanKind
    says: str
    place: str | None
    technician: str | None


@dataclass(frozen=True)
class StartRow:
    """One zone or technician (`zone:bay-1`, `person:osei`) and its spans over the day."""

    id: str
    spans: tuple[StartSpan, ...]


@dataclass(frozen=True)
class KnownPlace:
    """A place a step may be given: how it is called and the rows of floor it takes."""

    id: str
    label: str
    rows: tuple[str, ...]


@dataclass(frozen=True)
class StepPlaces:
    """Where a step may go on a day, for every row of the day board."""

    step: Step
    minutes: int
    places: tuple[KnownPlace, ...]
    people: Mapping[str, str]  # names by code
    rows: tuple[StartRow, ...]


def moving_of(shop: Shop, step: Step, now: datetime) -> Moving:
    """Read the plan for moving this step.

    Raises:
        Conflict: ``step_not_planned``, it is being done or over, or its visit is.
    """
    shop_plan = load_shop_plan(shop, now)
    known = shop_plan.steps.get(operation_id(step))
    if known is None or known.state != Step.State.PLANNED:
        says = "being done" if known is not None else "over"
        raise Conflict("step_not_planned", f"{step.label} is {says} and stays where it is.")
    return Moving(
        shop_plan, loose(shop_plan, [known]), (vehicle_id(known.visit), operation_id(step))
    )


def loose(shop_plan: ShopPlan, steps: Iterable[Step]) -> Problem:
    """The problem without the pins of these steps, each with its own length and lag again."""
    problem = shop_plan.problem
    for step in steps:
        key = (vehicle_id(step.visit), operation_id(step))
        problem = loosened(problem, key, minutes=step.minutes, lag=step.lag_minutes)
    return problem


def places_on(moving: Moving, on: date) -> StepPlaces:
    """Where the step could start on that day of the shop, and why not elsewhere."""
    shop_plan, zone = moving.shop_plan, moving.shop_plan.shop.zone
    clock = shop_plan.clock
    starts_at = hours.moment_of(on, datetime.min.time(), zone)
    ends_at = hours.moment_of(on + timedelta(days=1), datetime.min.time(), zone)
    horizon = moving.problem.horizon
    window = Window(max(0, clock.up(starts_at)), max(0, min(clock.down(ends_at), horizon)))
    found = where(
        moving.problem,
        shop_plan.plan,
        moving.key,
        window=window,
        zone_names=zone_names(shop_plan),
        waits_for=_waits_for(moving.step),
    )
    used = {span.placement for spans in found.rows.values() for span in spans}
    return StepPlaces(
        step=moving.step,
        minutes=found.minutes,
        places=tuple(_place(moving, name) for name in sorted(name for name in used if name)),
        people={code_of(t.id): t.name for t in moving.problem.technicians},
        rows=tuple(
            StartRow(row, tuple(_span(shop_plan, span) for span in spans))
            for row, spans in found.rows.items()
        ),
    )


def zone_names(shop_plan: ShopPlan) -> dict[str, str]:
    """What people call each zone: its bay's name where the bay is that zone alone."""
    plan = shop_plan.current.plan
    names = {zone_key(zone.id): zone.name for zone in plan.zones.values()}
    names |= {zone_key(bay.zones[0]): bay.name for bay in plan.bays if len(bay.zones) == 1}
    return names


def _waits_for(step: Step) -> str:
    """What the wait before a calibration is for, in the procedure's own words."""
    calibration = getattr(step, "calibration", None)
    if calibration is None or not step.lag_minutes:
        return ""
    says = content_of(calibration.edition).lag_says.rstrip(".")
    return says[:1].lower() + says[1:]


def _place(moving: Moving, name: str) -> KnownPlace:
    placement = moving.problem.placements[name]
    return KnownPlace(name, placement.label, tuple(sorted(placement.zones)))


def _span(shop_plan: ShopPlan, span: Span) -> StartSpan:
    clock = shop_plan.clock
    return StartSpan(
        first=clock.moment(span.first),
        last=clock.moment(span.last),
        kind=span.kind,
        says=span.says,
        place=span.placement,
        technician=code_of(span.technician) if span.technician else None,
    )
