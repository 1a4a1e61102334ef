"""My work: which vehicle to go to now, where it stands and what to fetch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.models import Step
from jobs.pages.moments import ShopWords, duration
from jobs.selectors.work_pages import WorkVisit, names_to_fetch, technician_of, work_visits
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.accounts.roles import Role

STATES = {
    "booked": ("", "booked, not here yet"),
    "checked_in": ("work", "here"),
    "in_work": ("work", "in work"),
    "on_hold": ("tape", "on hold"),
}


@dataclass(frozen=True)
class WorkRow:
    """One vehicle as the page shows it."""

    one: WorkVisit
    step: Step | None
    label: str
    at: str
    place: str
    promise: str
    takes: str
    people: str
    waits: str
    tag: str
    state: str
    act: str
    fetch: tuple[str, ...] = ()
    late: bool = False


@require_safe
@allowed(Action.SEE_VISIT)
def my_work(request: MemberRequest) -> HttpResponse:
    """Which vehicle do I go to now?"""
    shop, by = request.membership.shop, request.actor
    words = ShopWords.of(shop)
    technician = technician_of(by.shop_id, by.membership_id)
    everybody = by.role != Role.TECHNICIAN
    if technician is None and not everybody:
        found: list[WorkVisit] = []
    else:
        found = work_visits(by.shop_id, None if everybody else technician, words.now)
    rows = _rows(by.shop_id, found, words, may_act=may(by, Action.RUN_CALIBRATION))
    context = {
        "first": rows[0] if rows else None,
        "later": rows[1:],
        "everybody": everybody,
        "nobody": technician is None and not everybody,
        "may_check_in": may(by, Action.CHECK_IN),
    }
    template = "jobs/work/_mine.html" if request.htmx else "jobs/work_mine.html"
    return render(request, template, context)


def _rows(
    shop_id: int, found: Sequence[WorkVisit], words: ShopWords, *, may_act: bool
) -> list[WorkRow]:
    steps = [step for one in found if (step := one.next_own) is not None]
    fetch = names_to_fetch(shop_id, steps)
    return [_row(one, fetch, words, may_act=may_act) for one in found]


def _row(
    one: WorkVisit, fetch: dict[int, list[str]], words: ShopWords, *, may_act: bool
) -> WorkRow:
    step, visit = one.next_own, one.visit
    tag, state = STATES.get(visit.state, ("", visit.state))
    if visit.state == "on_hold" and visit.hold_reason:
        state = f"on hold: {visit.hold_reason}"
    return WorkRow(
        one=one,
        step=step,
        label=step.label if step else "Hand over",
        at=_at(step, words),
        place=(step.placement_label if step else "") or ("outside" if step else ""),
        promise=words.briefly(visit.promised_at, words.today),
        takes=duration(step.minutes) if step else "",
        people=_people(step),
        waits=_waits(one, words),
        tag=tag,
        state=state,
        act=_act(one, may_act),
        fetch=tuple(fetch.get(step.pk, ())) if step else (),
        late=visit.promised_at < words.now,
    )


def _at(step: Step | None, words: ShopWords) -> str:
    if step is None:
        return "now"
    if step.state == Step.State.DOING:
        return f"since {words.clock(step.started_at)}" if step.started_at else "now"
    if step.starts_at is None:
        return "no time yet"
    return _beside(step, words.today, words)


def _beside(step: Step, today: date, words: ShopWords) -> str:
    return words.briefly(step.starts_at, today) if step.starts_at else "no time yet"


def _people(step: Step | None) -> str:
    if step is None:
        return ""
    names = [person.name for person in (step.technician, step.second_person) if person]
    return " with ".join(names)


def _waits(one: WorkVisit, words: ShopWords) -> str:
    """What must happen before, when it is somebody else's."""
    waits = one.waits_for
    if waits is None or waits in one.own:
        return ""
    who = waits.technician.name if waits.technician else "nobody yet"
    until = f" until {words.clock(waits.ends_at)}" if waits.ends_at else ""
    return f"after {waits.label}, {who}{until}"


def _act(one: WorkVisit, may_act: bool) -> str:
    if one.visit.state == "booked":
        return "check_in"
    if not may_act:
        return "look"
    return "go_on" if one.doing or one.visit.state == "in_work" else "start"
