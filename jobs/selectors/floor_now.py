"""Which vehicle stands where at a moment, from the holds on the floor."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from bays.models import Hold, HoldReason, ResourceKind
from bays.planner.holding import DRIVING
from jobs.models import Step, Visit


@dataclass(frozen=True)
class Standing:
    """A vehicle on the floor: which step put it there, until when, and whether it is there yet."""

    step: Step
    until: datetime
    expected: bool  # planned to be there; the step has not begun
    waiting: bool  # the step is done, the vehicle waits for its next one


@dataclass(frozen=True)
class Moving:
    """A vehicle that is planned to be on its way: zones held only while it drives over them."""

    step: Step
    until: datetime
    zones: frozenset[str]
    drives: str  # "driving in", "driving out"


@dataclass(frozen=True)
class FloorNow:
    """Vehicles on the floor, closed pieces of it, and vehicles in the shop but not on it.

    ``held`` names the step that holds each zone, for its own work or for the way there.
    """

    standing: tuple[Standing, ...]
    closed: tuple[Hold, ...]
    elsewhere: tuple[Visit, ...]
    moving: tuple[Moving, ...] = ()
    held: Mapping[str, Step] = field(default_factory=dict)


def floor_now(shop_id: int, at: datetime) -> FloorNow:
    """The floor at a moment, past, present or planned."""
    holds = list(
        Hold.objects.for_shop(shop_id)
        .filter(resource__kind=ResourceKind.ZONE, starts_at__lte=at, ends_at__gt=at)
        .select_related("resource")
        .order_by("resource__code")
    )
    of_step = _by_step(holds)
    steps = (
        Step.objects.for_shop(shop_id)
        .filter(pk__in=of_step)
        .select_related("visit__vehicle", "technician", "floor_edition")
        .order_by("placement_label", "starts_at")
    )
    by_id = {step.pk: step for step in steps}
    standing = _one_a_visit(_standings(by_id.values(), of_step, at))
    there = {one.step.visit_id for one in standing}
    return FloorNow(
        standing=standing,
        closed=tuple(hold for hold in holds if hold.reason != HoldReason.WORK),
        elsewhere=tuple(
            Visit.objects.for_shop(shop_id)
            .filter(state__in=("checked_in", "in_work", "on_hold", "ready"))
            .exclude(pk__in=there)
            .select_related("vehicle")
        ),
        moving=tuple(
            Moving(step, max(h.ends_at for h in crossed), _codes(crossed), crossed[0].note)
            for step in by_id.values()
            if (crossed := _crossed(of_step[step.pk]))
        ),
        held={
            hold.resource.code: by_id[hold.step_id]
            for hold in holds
            if hold.step_id in by_id and hold.reason == HoldReason.WORK
        },
    )


def _by_step(holds: Iterable[Hold]) -> dict[int, list[Hold]]:
    found: dict[int, list[Hold]] = {}
    for hold in holds:
        if hold.step_id is not None:
            found.setdefault(hold.step_id, []).append(hold)
    return found


def _codes(holds: Iterable[Hold]) -> frozenset[str]:
    return frozenset(hold.resource.code for hold in holds)


def _crossed(holds: list[Hold]) -> list[Hold]:
    """Holds of zones for the way in or out: the vehicle passes there and does not stand."""
    return [hold for hold in holds if hold.note in DRIVING]


def _standings(
    steps: Iterable[Step], of_step: Mapping[int, list[Hold]], at: datetime
) -> list[Standing]:
    found = []
    for step in steps:
        crossed = {hold.pk for hold in _crossed(of_step[step.pk])}
        there = [hold for hold in of_step[step.pk] if hold.pk not in crossed]
        if there:
            found.append(_standing(step, max(hold.ends_at for hold in there), at))
    return found


def _standing(step: Step, until: datetime, at: datetime) -> Standing:
    begun = step.started_at is not None and step.started_at <= at
    over = step.ends_at is not None and step.ends_at <= at
    done = step.state == Step.State.DONE or (not begun and over)
    return Standing(step, until, expected=not begun, waiting=done)


def _one_a_visit(found: list[Standing]) -> tuple[Standing, ...]:
    """A vehicle is in one place: where it is rather than where it is expected."""
    best: dict[int, Standing] = {}
    for one in found:
        other = best.get(one.step.visit_id)
        if other is None or (other.expected and not one.expected):
            best[one.step.visit_id] = one
    return tuple(best.values())
