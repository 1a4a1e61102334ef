"""Which vehicle stands where at a moment, from the holds on the floor."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from bays.models import Hold, HoldReason, ResourceKind
from jobs.models import Step, Visit


@dataclass(frozen=True)
class Standing:
    """A vehicle on the floor: which step put it there, until when, and whether it is there yet."""

    step: Step
    until: datetime
    expected: bool  # planned to be there; the step has not begun
    waiting: bool  # the step is done, the vehicle waits for its next one


@dataclass(frozen=True)
class FloorNow:
    """Vehicles on the floor, closed pieces of it, and vehicles in the shop but not on it."""

    standing: tuple[Standing, ...]
    closed: tuple[Hold, ...]
    elsewhere: tuple[Visit, ...]


def floor_now(shop_id: int, at: datetime) -> FloorNow:
    """The floor at a moment, past, present or planned."""
    holds = list(
        Hold.objects.for_shop(shop_id)
        .filter(resource__kind=ResourceKind.ZONE, starts_at__lte=at, ends_at__gt=at)
        .select_related("resource")
        .order_by("resource__code")
    )
    until = {hold.step_id: hold.ends_at for hold in holds if hold.step_id is not None}
    steps = (
        Step.objects.for_shop(shop_id)
        .filter(pk__in=until)
        .select_related("visit__vehicle", "technician", "floor_edition")
        .order_by("placement_label", "starts_at")
    )
    standing = _one_a_visit([_standing(step, until[step.pk], at) for step in steps])
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
    )


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
