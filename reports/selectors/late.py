"""Which vehicles are late or will be, and why, in words a service writer can say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from jobs.lifecycle import VisitState
from jobs.models import Attempt, Step, Visit
from reports.figures.use import hours

_OPEN = (VisitState.BOOKED, VisitState.CHECKED_IN, VisitState.IN_WORK, VisitState.ON_HOLD)
_DONE = (Step.State.DONE, Step.State.CANCELLED)


@dataclass(frozen=True)
class LateVisit:
    """``is_late``: the promise is broken now; otherwise the plan says that it will be."""

    visit: Visit
    is_late: bool
    minutes: int
    says: str
    why: tuple[str, ...]


def late_visits(shop_id: int, zone: ZoneInfo, now: datetime) -> list[LateVisit]:
    """Open visits whose promise is past or planned to be missed, the latest first."""
    rows = (
        Visit.objects.for_shop(shop_id)
        .filter(state__in=_OPEN)
        .select_related("vehicle")
        .prefetch_related(Prefetch("steps", Step.objects.order_by("order")))
        .prefetch_related(Prefetch("calibrations__attempts", Attempt.objects.order_by("number")))
        .prefetch_related("calibrations__edition__procedure")
    )
    found = [late for visit in rows if (late := _late(visit, zone, now)) is not None]
    return sorted(found, key=lambda late: (not late.is_late, -late.minutes))


def _late(visit: Visit, zone: ZoneInfo, now: datetime) -> LateVisit | None:
    owed = [step for step in visit.steps.all() if step.state not in _DONE]
    planned = max((step.ends_at for step in owed if step.ends_at), default=None)
    is_late = visit.promised_at <= now
    # A plan that lies in the past has not happened: it is over at the earliest now.
    ends_at = max(planned or now, now)
    minutes = round((ends_at - visit.promised_at).total_seconds() / 60)
    if not is_late and minutes <= 0:
        return None
    at = _clock(visit.promised_at, zone, now)
    if is_late:
        gone = round((now - visit.promised_at).total_seconds() / 60)
        says = f"promised for {at}, {hours(gone)} ago"
    else:
        says = f"promised for {at}, planned to be {hours(minutes)} late"
    return LateVisit(visit, is_late, minutes, says, _why(visit, owed, zone, now))


def _why(visit: Visit, owed: Sequence[Step], zone: ZoneInfo, now: datetime) -> tuple[str, ...]:
    """What stands in the way now, the plainest first; never nothing."""
    reasons: list[str] = []
    if visit.state == VisitState.ON_HOLD:
        reasons.append(f"on hold: {visit.hold_reason or 'no reason written down'}")
    if visit.state == VisitState.BOOKED and visit.arrives_at < now:
        came = _clock(visit.arrives_at, zone, now)
        reasons.append(f"not checked in, expected at {came}")
    for calibration in visit.calibrations.all():
        lost = [a for a in calibration.attempts.all() if a.outcome in ("failed", "stopped")]
        if lost:
            cause = lost[-1].cause or "no cause written down"
            name = calibration.edition.procedure.name
            word = "attempt" if len(lost) == 1 else "attempts"
            reasons.append(f"{name}: {len(lost)} {word} did not pass, last for {cause}")
    for step in owed:
        if step.state == Step.State.DOING and step.ends_at and step.ends_at < now:
            over = round((now - step.ends_at).total_seconds() / 60)
            reasons.append(f"{step.label} runs {hours(over)} longer than planned")
    if not reasons:
        reasons.append(_plainly(owed, zone, now))
    return tuple(reasons)


def _plainly(owed: Sequence[Step], zone: ZoneInfo, now: datetime) -> str:
    if not owed:
        return "all steps are done, but the visit is not marked ready"
    step = owed[0]
    if step.starts_at is None:
        return f"{step.label} has no place in the plan"
    if step.state == Step.State.PLANNED and step.starts_at < now - timedelta(minutes=5):
        return f"{step.label} was to start at {_clock(step.starts_at, zone, now)} and has not"
    last = max((s.ends_at for s in owed if s.ends_at), default=None)
    if last is None:
        return f"{step.label} has no place in the plan"
    return f"the work still to do is planned until {_clock(last, zone, now)}"


def _clock(moment: datetime, zone: ZoneInfo, now: datetime) -> str:
    local = moment.astimezone(zone)
    if local.date() == now.astimezone(zone).date():
        return f"{local:%H:%M}"
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"
