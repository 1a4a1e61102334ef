"""The day as the board drawing: bays above, people below, what is out of service last."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.urls import reverse

from bays import hours
from jobs.drawing import Bar, BarKind, BarState, BoardRow, DayBoard, RowGroup, Shade, StepFacts
from jobs.models import Step
from jobs.pages.moments import ShopWords
from jobs.selectors.day import Day, PersonDay, Standing, VisitStanding

KINDS = {
    Step.Kind.PRE_SCAN: BarKind.SCAN,
    Step.Kind.POST_SCAN: BarKind.SCAN,
    Step.Kind.CALIBRATION: BarKind.CALIBRATION,
    Step.Kind.ROAD_DRIVE: BarKind.DRIVE,
}
SHORT = {
    Step.Kind.PRE_SCAN: "Pre",
    Step.Kind.POST_SCAN: "Post",
    Step.Kind.ROAD_DRIVE: "Road drive",
}
# What the axis shows where the shop is shut all day.
SHUT_HOURS = (timedelta(hours=8), timedelta(hours=18))
LEAST_WAIT = timedelta(minutes=20)


@dataclass(frozen=True)
class _Axis:
    starts_at: datetime
    ends_at: datetime


def day_board(day: Day, words: ShopWords, *, may_move: bool = False) -> DayBoard:
    """Everything in drawing terms; bars outside the axis are named below the drawing.

    With ``may_move`` the steps that have not begun can be taken hold of.
    """
    axis = _axis(day)
    bay_rows = _bay_rows(day, words)
    person_rows = tuple(
        BoardRow(f"person:{p.technician.code}", p.technician.name, _shift_words(p, words))
        for p in day.people
    )
    out_rows = tuple(
        {d.unit.code: BoardRow(f"unit:{d.unit.code}", d.unit.name) for d in day.units_out}.values()
    )
    groups = [RowGroup("Bays", bay_rows), RowGroup("Technicians", person_rows)]
    if out_rows:
        groups.append(RowGroup("Out of service", out_rows))
    known = {row.id for group in groups for row in group.rows}
    return DayBoard(
        title=f"Bays and people on {day.on:%A} {day.on.day} {day.on:%B}",
        opens_at=axis.starts_at,
        closes_at=axis.ends_at,
        zone=day.zone,
        groups=tuple(group for group in groups if group.rows),
        bars=tuple(_bars(day, known, may_move, words)),
        shades=tuple(_shades(day, axis, known)),
        now_at=day.now if day.starts_at <= day.now < day.ends_at else None,
        empty_says="Nothing planned for this day.",
    )


def _axis(day: Day) -> _Axis:
    """Opening hours, widened by work and shifts outside them."""
    spans = [*day.open_spans, *(span for person in day.people for span in person.spans)]
    starts = [span.starts_at for span in spans]
    ends = [span.ends_at for span in spans]
    for step in _steps_of_day(day):
        if step.starts_at and step.ends_at:
            starts.append(max(step.starts_at, day.starts_at))
            ends.append(min(step.ends_at, day.ends_at))
    if not starts:
        return _Axis(day.starts_at + SHUT_HOURS[0], day.starts_at + SHUT_HOURS[1])
    first, last = min(starts), max(ends)
    whole = timedelta(minutes=30)
    origin = day.starts_at
    first -= (first - origin) % whole
    last += (origin - last) % whole
    return _Axis(first, min(last, day.ends_at))


def _steps_of_day(day: Day) -> Iterator[Step]:
    for one in day.visits:
        for step in one.steps:
            if (
                step.starts_at is not None
                and step.ends_at is not None
                and step.starts_at < day.ends_at
                and step.ends_at > day.starts_at
            ):
                yield step


def _bay_rows(day: Day, words: ShopWords) -> tuple[BoardRow, ...]:
    """One row for each bay of its own; joined bays span the rows they are made of."""
    if day.plan is None:
        return ()
    rows = []
    for bay in day.plan.bays:
        if len(bay.zones) == 1:
            west, south, east, north = bay.area.bounds
            along, across = sorted((east - west, north - south), reverse=True)
            rows.append(BoardRow(f"zone:{bay.zones[0]}", bay.name, words.floor_size(along, across)))
    return tuple({row.id: row for row in rows}.values())


def _shift_words(person: PersonDay, words: ShopWords) -> str:
    if not person.spans:
        return "not in"
    return f"{words.clock(person.spans[0].starts_at)}–{words.clock(person.spans[-1].ends_at)}"


def _bars(day: Day, known: set[str], may_move: bool, words: ShopWords) -> Iterator[Bar]:
    for one in day.visits:
        last = one.steps[-1] if one.steps else None
        upcoming = one.next_step
        for step in one.steps:
            if step.starts_at is None or step.ends_at is None or step.technician is None:
                continue
            facts = StepFacts(
                step.pk,
                step.version,
                movable=may_move and one.open and step.state == Step.State.PLANNED,
                pinned=step.pinned and step.state == Step.State.PLANNED,
            )
            later = next((other for other in one.steps if other.order > step.order), None)
            for bar in _bar(one, step, day, known, last is step, upcoming is step, facts):
                yield replace(bar, says=_more_words(bar.says, step, later, words))


def _more_words(says: str, step: Step, later: Step | None, words: ShopWords) -> str:
    """What it waits for, and until when the vehicle is parked outside after it."""
    more = [says] if says else []
    if step.state == Step.State.PLANNED and step.not_before is not None:
        more.append(f"waits for {step.waits_for}, expected {words.moment(step.not_before)}")
    waits = step.park_after and later is not None and later.state == Step.State.PLANNED
    if waits and later is not None and later.starts_at and step.ends_at:
        until = words.briefly(later.starts_at, words.day_of(step.ends_at))
        more.append(f"then parked outside until {until}")
    return "; ".join(more)


def _bar(
    one: VisitStanding,
    step: Step,
    day: Day,
    known: set[str],
    last: bool,
    upcoming: bool,
    facts: StepFacts,
) -> Iterator[Bar]:
    starts_at, ends_at = _real_times(step, day.now)
    if not (starts_at < day.ends_at and ends_at > day.starts_at) or step.technician is None:
        return
    state, says = _state(one, step, last, upcoming)
    zones = (step.placement or {}).get("zones", [])
    rows = [f"zone:{zone}" for zone in zones] + [f"person:{step.technician.code}"]
    place = step.placement_label or "Outside"
    bar = Bar(
        row_ids=tuple(row for row in rows if row in known),
        starts_at=starts_at,
        ends_at=ends_at,
        label=step.label,
        short_label=SHORT.get(Step.Kind(step.kind), ""),
        reference=one.visit.ro_number,
        kind=KINDS[Step.Kind(step.kind)],
        state=state,
        vehicle=one.visit.vehicle.label,
        who=f"{step.technician.name}, {place}",
        says=says,
        url=reverse("visit-detail", args=[one.visit.pk]),
        step=facts,
    )
    if bar.row_ids:
        yield bar
    helper = step.second_person
    if helper is not None and f"person:{helper.code}" in known and step.second_person_minutes:
        yield Bar(
            row_ids=(f"person:{helper.code}",),
            starts_at=starts_at,
            ends_at=starts_at + timedelta(minutes=step.second_person_minutes),
            label=f"Helps: {step.label}",
            short_label="Helps",
            reference=one.visit.ro_number,
            kind=BarKind.OTHER,
            state=state if state in (BarState.DOING, BarState.DONE) else BarState.PLANNED,
            vehicle=one.visit.vehicle.label,
            who=f"{helper.name}, {place}",
            url=bar.url,
        )


def _real_times(step: Step, now: datetime) -> tuple[datetime, datetime]:
    """What happened where it is known, the plan where it is not; a step being done goes on."""
    assert step.starts_at is not None
    assert step.ends_at is not None
    starts_at = step.started_at or step.starts_at
    ends_at = step.ended_at or step.ends_at
    if step.state == Step.State.DOING:
        ends_at = max(ends_at, now)
    return starts_at, max(ends_at, starts_at + timedelta(minutes=1))


def _state(one: VisitStanding, step: Step, last: bool, upcoming: bool) -> tuple[BarState, str]:
    if step.state == Step.State.DONE:
        return BarState.DONE, ""
    if last and one.standing == Standing.LATE:
        return BarState.LATE, f"{one.late_minutes} min late"
    if upcoming and one.visit.state == "on_hold":
        return BarState.ON_HOLD, ""
    if step.state == Step.State.DOING:
        return BarState.DOING, ""
    if last and one.standing == Standing.AT_RISK:
        return BarState.AT_RISK, ""
    return BarState.PLANNED, ""


def _shades(day: Day, axis: _Axis, known: set[str]) -> Iterator[Shade]:
    shut = day.closed_because or "closed"
    for starts_at, ends_at in _gaps(day.open_spans, axis):
        yield Shade(None, starts_at, ends_at, shut)
    for person in day.people:
        yield from _away(person, day, axis)
    for hold in day.closed_zones:
        row = f"zone:{hold.resource.code}"
        if row in known:
            says = f"closed: {hold.note}" if hold.note else hold.get_reason_display()
            yield Shade(row, hold.starts_at, hold.ends_at, says)
    for downtime in day.units_out:
        ends_at = downtime.ends_at or day.ends_at
        yield Shade(f"unit:{downtime.unit.code}", downtime.starts_at, ends_at, downtime.reason)
    yield from _waiting(day, known)


def _away(person: PersonDay, day: Day, axis: _Axis) -> Iterator[Shade]:
    """Gaps in a person's day while the shop is open, with the reason where one is known."""
    row = f"person:{person.technician.code}"
    for starts_at, ends_at in _gaps(person.spans, axis):
        absences = [
            absence
            for absence in person.technician.absences.all()
            if absence.starts_at < ends_at and absence.ends_at > starts_at
        ]
        if absences:
            says = absences[0].reason or "away"
        elif _is_lunch(person, starts_at, day):
            says = "lunch"
        else:
            says = "off"
        yield Shade(row, starts_at, ends_at, says)


def _is_lunch(person: PersonDay, starts_at: datetime, day: Day) -> bool:
    wall = starts_at.astimezone(day.zone).time()
    return any(
        shift.weekday == day.on.weekday() and shift.lunch_starts == wall
        for shift in person.technician.shifts.all()
    )


def _waiting(day: Day, known: set[str]) -> Iterator[Shade]:
    """Bays in which a vehicle stands between two of its steps."""
    for one in day.visits:
        for step, following in zip(one.steps, one.steps[1:], strict=False):
            if step.park_after or not step.placement or following.starts_at is None:
                continue
            if step.starts_at is None or step.ends_at is None:
                continue
            _, ends_at = _real_times(step, day.now)
            if following.starts_at - ends_at < LEAST_WAIT:
                continue
            for zone in step.placement["zones"]:
                if f"zone:{zone}" in known:
                    says = f"{one.visit.ro_number} waits here"
                    yield Shade(f"zone:{zone}", ends_at, following.starts_at, says)


def _gaps(spans: Iterable[hours.Span], axis: _Axis) -> Iterator[tuple[datetime, datetime]]:
    """What the spans leave of the axis."""
    at = axis.starts_at
    for span in sorted(spans):
        if span.starts_at > at:
            yield at, min(span.starts_at, axis.ends_at)
        at = max(at, span.ends_at)
    if at < axis.ends_at:
        yield at, axis.ends_at
