"""Opening hours and closures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from itertools import pairwise

from django.db import transaction

from bays.models import Closure, OpeningHours
from bays.services.checks import locked_shop, own, refuse_faults, text_faults
from bays.services.put import Outcome, Put, put
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import FieldError
from shopcal.history.record import record_event


@dataclass(frozen=True, order=True)
class OpenWanted:
    """Open on one weekday (0 is Monday) between two times of the shop's clock."""

    weekday: int
    opens: time
    closes: time


def opening_faults(hours: Sequence[OpenWanted]) -> list[FieldError]:
    """Hours that end before they start, no such weekday, and hours that overlap."""
    errors = []
    for index, row in enumerate(hours):
        if not 0 <= row.weekday <= 6:
            errors.append(FieldError(f"[{index}].weekday", "is no weekday", "0 Monday … 6 Sunday"))
        if row.closes <= row.opens:
            says = f"{row.closes:%H:%M} is not after {row.opens:%H:%M}"
            errors.append(FieldError(f"[{index}].closes", says, "a time later that day"))
    for before, after in pairwise(sorted(enumerate(hours), key=lambda pair: pair[1])):
        if before[1].weekday == after[1].weekday and after[1].opens < before[1].closes:
            says = f"overlaps the hours up to {before[1].closes:%H:%M} of the same day"
            errors.append(FieldError(f"[{after[0]}].opens", says))
    return errors


def set_opening_hours(*, by: Actor, hours: Sequence[OpenWanted]) -> Outcome:
    """Set the whole week; a weekday that is not among the hours is closed.

    Raises:
        NotAllowed: not a manager. Invalid: hours that cannot be.
    """
    require(by, Action.EDIT_HOURS)
    refuse_faults("hours_invalid", "The opening hours were not saved.", opening_faults(hours))
    wanted = sorted(hours)
    with transaction.atomic():
        locked_shop(by)
        rows = OpeningHours.objects.for_shop(by.shop_id)
        now = sorted(OpenWanted(row.weekday, row.opens, row.closes) for row in rows)
        if now == wanted:
            return Outcome.UNCHANGED
        rows.delete()
        OpeningHours.objects.bulk_create(
            OpeningHours(
                shop_id=by.shop_id, weekday=row.weekday, opens=row.opens, closes=row.closes
            )
            for row in wanted
        )
        record_event(
            by=by,
            kind="hours.changed",
            subject=f"shop:{by.shop_id}",
            before={"opening": _told(now)},
            after={"opening": _told(wanted)},
        )
    return Outcome.CHANGED if now else Outcome.ADDED


def closure_faults(starts_on: date, ends_on: date, reason: str) -> list[FieldError]:
    errors = text_faults("reason", reason, 120)
    if ends_on < starts_on:
        errors.append(FieldError("to", f"{ends_on} is before {starts_on}", "the last day shut"))
    return errors


def put_closure(*, by: Actor, starts_on: date, ends_on: date, reason: str) -> Put:
    """Close the shop on these days, both included; one that starts the same day is changed.

    Raises:
        NotAllowed: not a manager. Invalid: it ends before it starts, or gives no reason.
    """
    require(by, Action.EDIT_HOURS)
    errors = closure_faults(starts_on, ends_on, reason)
    refuse_faults("closure_invalid", "The closure was not saved.", errors)
    with transaction.atomic():
        locked_shop(by)
        return put(
            by,
            Closure,
            "closure",
            where={"starts_on": starts_on},
            values={"ends_on": ends_on, "reason": reason.strip()},
        )


def add_closure(*, by: Actor, starts_on: date, ends_on: date, reason: str) -> Closure:
    """As ``put_closure``, for a caller that wants the row."""
    closure: Closure = put_closure(by=by, starts_on=starts_on, ends_on=ends_on, reason=reason).row
    return closure


def remove_closure(*, by: Actor, closure: Closure) -> None:
    """Open the shop on these days after all.

    Raises:
        NotAllowed: not a manager. NotFound: no closure of this shop.
    """
    require(by, Action.EDIT_HOURS)
    with transaction.atomic():
        row = own(by, closure, "closure")
        subject = f"closure:{row.pk}"
        before = {"starts_on": row.starts_on.isoformat(), "ends_on": row.ends_on.isoformat()}
        row.delete()
        record_event(by=by, kind="closure.removed", subject=subject, before=before)


def _told(hours: Sequence[OpenWanted]) -> list[list[object]]:
    return [[row.weekday, f"{row.opens:%H:%M}", f"{row.closes:%H:%M}"] for row in hours]
