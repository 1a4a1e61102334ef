"""Who holds a piece of floor, in the words of the apps above, which know what a step is for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from bays.models import Hold, Resource

# Shop and step ids to what people call the step: "RO 3121, front camera".
NamesOfSteps = Callable[[int, Iterable[int]], Mapping[int, str]]

_NAMERS: list[NamesOfSteps] = []


@dataclass(frozen=True)
class Holding:
    """One hold to come: what is held, when, and for what."""

    code: str
    zone: str
    starts_at: datetime
    ends_at: datetime
    held_for: str


def name_steps_with(namer: NamesOfSteps) -> None:
    """Called once, when the app that knows steps is ready."""
    if namer not in _NAMERS:
        _NAMERS.append(namer)


def holdings_after(shop_id: int, resources: Iterable[Resource], moment: datetime) -> list[Holding]:
    """Every hold of these resources that ends after ``moment``, the first to begin first."""
    holds = list(
        Hold.objects.for_shop(shop_id)
        .filter(resource__in=list(resources), ends_at__gt=moment)
        .select_related("resource")
        .order_by("starts_at", "resource__code")
    )
    names: dict[int, str] = {}
    for namer in _NAMERS:
        names.update(namer(shop_id, {hold.step_id for hold in holds if hold.step_id is not None}))
    return [
        Holding(
            code=hold.resource.code,
            zone=hold.resource.name,
            starts_at=hold.starts_at,
            ends_at=hold.ends_at,
            held_for=names.get(hold.step_id or 0) or hold.note or hold.get_reason_display(),
        )
        for hold in holds
    ]
