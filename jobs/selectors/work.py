"""A technician's own work: the vehicle now, and the ones next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q

from bays.models import Technician
from jobs.models import Step, Visit

AHEAD = timedelta(hours=24)
OPEN_STATES = ("booked", "checked_in", "in_work", "on_hold")


@dataclass(frozen=True)
class WorkItem:
    """A vehicle and this technician's steps on it that are not done, in plan order."""

    visit: Visit
    steps: tuple[Step, ...]

    @property
    def doing(self) -> bool:
        return any(step.state == Step.State.DOING for step in self.steps)


@dataclass(frozen=True)
class Work:
    """``now`` are vehicles being worked on, ``next`` those the plan brings within a day."""

    now: tuple[WorkItem, ...]
    next: tuple[WorkItem, ...]


def work_of(technician: Technician, now: datetime) -> Work:
    """This technician's vehicles in plan order, as first or second person.

    A step without a time yet comes last.
    """
    steps = (
        Step.objects.for_shop(technician.shop_id)
        .filter(Q(technician=technician) | Q(second_person=technician))
        .filter(state__in=(Step.State.PLANNED, Step.State.DOING), visit__state__in=OPEN_STATES)
        .filter(Q(starts_at__isnull=True) | Q(starts_at__lt=now + AHEAD))
        .select_related("visit__vehicle", "calibration")
    )
    last = now + 2 * AHEAD
    by_visit: dict[int, list[Step]] = {}
    for step in sorted(steps, key=lambda s: (s.starts_at or last, s.visit_id, s.order)):
        by_visit.setdefault(step.visit_id, []).append(step)
    items = [WorkItem(own[0].visit, tuple(own)) for own in by_visit.values()]
    return Work(
        now=tuple(item for item in items if item.doing),
        next=tuple(item for item in items if not item.doing),
    )
