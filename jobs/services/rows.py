"""How every service here takes hold of a row: whose it is, who changed it, one transaction."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from django.db import transaction

from bays.models import Technician
from jobs.lifecycle import MoveRefused
from jobs.models import Attempt, Calibration, Visit
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, may, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound, Stale
from shopcal.history.record import record_event
from shopcal.history.selectors import events_of_subject
from shopcal.retrying import retried

P = ParamSpec("P")
R = TypeVar("R")


def one_transaction(service: Callable[P, R]) -> Callable[P, R]:
    """Run a service whole or not at all, again after a deadlock."""

    @wraps(service)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        def work() -> R:
            with transaction.atomic():
                return service(*args, **kwargs)

        return retried(work)

    return run


def require_one_of(by: Actor, first: Action, other: Action) -> None:
    """Do nothing where the actor may do either.

    Raises:
        NotAllowed: worded for ``first``.
    """
    if not may(by, other):
        require(by, first)


def locked_visit(by: Actor, visit: Visit, version: int | None = None) -> Visit:
    """The visit as it is now, locked until the transaction ends.

    Two people who move one visit would otherwise both judge by the state before.

    Raises:
        NotFound: another shop's, or gone. Stale: changed since ``version``.
    """
    found = (
        Visit.objects.for_shop(by.shop_id)
        .select_for_update(of=("self",))
        .select_related("vehicle", "shop")
        .filter(pk=visit.pk)
        .first()
    )
    if found is None:
        raise NotFound("no_visit", "There is no such visit in this shop.")
    _refuse_stale(found.version, version, visit_subject(found), "visit", by)
    return found


def locked_calibration(
    by: Actor, calibration: Calibration, version: int | None = None
) -> Calibration:
    """The calibration as it is now, locked, its visit before it.

    Always in this order: a visit's move and its calibration's would otherwise wait for each other.

    Raises:
        NotFound: another shop's, or gone. Stale: changed since ``version``.
    """
    rows = Calibration.objects.for_shop(by.shop_id).filter(pk=calibration.pk)
    visit_id = rows.values_list("visit_id", flat=True).first()
    if visit_id is None:
        raise NotFound("no_calibration", "There is no such calibration in this shop.")
    visit = locked_visit(by, Visit(pk=visit_id))
    found = (
        rows.select_for_update(of=("self",))
        .select_related("step__technician", "edition__procedure")
        .get()
    )
    found.visit = visit
    _refuse_stale(found.version, version, calibration_subject(found), "calibration", by)
    return found


def open_attempt(calibration: Calibration) -> Attempt:
    """The attempt being made.

    Raises:
        Conflict: ``no_attempt``, nobody has begun one.
    """
    attempt = calibration.attempts.select_related("technician").order_by("-number").first()
    if attempt is None:
        raise Conflict(
            "no_attempt", f"{_name(calibration)} has not been begun.", detail="Begin it first."
        )
    return attempt


def technician_of(by: Actor) -> Technician | None:
    """The technician who acts; None where this person is none."""
    if by.membership_id is None:
        return None
    rows = Technician.objects.for_shop(by.shop_id)
    return rows.filter(membership_id=by.membership_id, active=True).first()


def told_visit(by: Actor, visit: Visit, kind: str, before: dict[str, Any], **after: Any) -> Visit:
    """Save a changed visit with its next version and tell the history. Call it last."""
    visit.version += 1
    visit.save()
    record_event(
        by=by,
        kind=kind,
        subject=visit_subject(visit),
        visit_id=visit.pk,
        before=before,
        after={**after, "version": visit.version},
    )
    return visit


def told_calibration(
    by: Actor, calibration: Calibration, kind: str, before: dict[str, Any] | None, **after: Any
) -> Calibration:
    """Save a changed calibration with its next version and tell the history. Call it last."""
    calibration.version += 1
    calibration.save()
    record_event(
        by=by,
        kind=kind,
        subject=calibration_subject(calibration),
        visit_id=calibration.visit_id,
        before=before,
        after={**after, "version": calibration.version},
    )
    return calibration


def move_conflict(refused: MoveRefused) -> Conflict:
    """A move the table does not allow, as a refusal with every unmet guard."""
    unmet = [
        {
            "guard": item.guard,
            "code": item.code,
            "says": item.says,
            "right": item.right,
            "can_override": item.can_override,
        }
        for item in refused.unmet
    ]
    says = refused.says[:1].upper() + refused.says[1:] + "."
    return Conflict("move_refused", says, facts={"unmet": unmet, "move": refused.code})


def needed_text(path: str, text: str, at_most: int, right: str) -> str:
    """The text in one line.

    Raises:
        Invalid: empty or too long.
    """
    plain = " ".join(text.split())
    says = "is empty" if not plain else f"has {len(plain)} characters, at most {at_most}"
    if not plain or len(plain) > at_most:
        raise Invalid("text", "Something is missing.", errors=[FieldError(path, says, right)])
    return plain


def visit_subject(visit: Visit) -> str:
    return f"visit:{visit.pk}"


def calibration_subject(calibration: Calibration) -> str:
    return f"calibration:{calibration.pk}"


def _refuse_stale(now: int, seen: int | None, subject: str, what: str, by: Actor) -> None:
    if seen is None or seen == now:
        return
    changes = [
        {
            "kind": event.kind,
            "by": event.actor_name,
            "at": event.at.isoformat(),
            "before": event.before,
            "after": event.after,
        }
        for event in events_of_subject(by.shop_id, subject)
        if event.after and event.after.get("version", 0) > seen
    ]
    people = ", ".join(dict.fromkeys(str(change["by"]) for change in changes)) or "Someone"
    raise Stale(
        f"{what}_changed",
        f"{people} changed this {what} meanwhile.",
        detail="Look at what changed, then do it again.",
        facts={"version": now, "changes": changes},
    )


def _name(calibration: Calibration) -> str:
    return calibration.edition.procedure.name
