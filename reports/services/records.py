"""Issuing records: content and number in one transaction, print and mail afterwards."""

from __future__ import annotations

import hashlib

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils import timezone

from jobs.lifecycle import VisitState
from jobs.models import Visit
from reports.models import Record
from reports.records.content import RecordContent
from reports.records.printing import print_record
from reports.selectors.record_facts import Asked, record_content
from shopcal.accounts.actor import Actor
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound
from shopcal.history.record import record_event
from shopcal.outbox import enqueue
from shopcal.retrying import retried

RENDER = "record.render"
MAIL_LENGTH, REASON_LENGTH = 254, 300
_CLOSED = (VisitState.READY, VisitState.RELEASED)


def issue_record(*, by: Actor, visit: Visit, mail_to: str = "", reason: str = "") -> Record:
    """Issue the next record of a visit; it takes the place of the one before, if there is one.

    The content is taken down as the visit stands now, in the same transaction as number, event and
    the order to print. A cancelled visit may have a record too, once the vehicle was here.

    Raises:
        NotAllowed: the role may not issue records. NotFound: a visit of another shop.
        Conflict: ``record_too_early``, the work is not closed.
        Invalid: ``invalid``, no reason for superseding, or an address that cannot be one.
    """
    require(by, Action.ISSUE_RECORD)
    mail_to, reason = mail_to.strip(), " ".join(reason.split())
    _check_address(mail_to)
    return retried(lambda: _issue(by, visit.pk, mail_to, reason))


def _issue(by: Actor, visit_id: int, mail_to: str, reason: str) -> Record:
    with transaction.atomic():
        # Locked, so that two people issuing at once get two numbers, one superseding the other.
        visit = (
            Visit.objects.select_for_update(of=("self",))
            .select_related("shop", "vehicle")
            .filter(shop_id=by.shop_id, pk=visit_id)
            .first()
        )
        if visit is None:
            raise NotFound("missing", "There is no such visit in this shop.")
        _check_closed(visit)
        last = visit.records.defer("pdf", "content").order_by("-number").first()
        _check_reason(last, reason)
        record = _write(by, visit, last, mail_to, reason)
        enqueue(
            kind=RENDER,
            key=f"record-render:{record.pk}",
            shop_id=by.shop_id,
            payload={"record_id": record.pk},
        )
        record_event(
            by=by,
            kind="record.issued",
            # The visit's pages listen to their visit; the record is named in what changed.
            subject=f"visit:{visit.pk}",
            visit_id=visit.pk,
            after={
                "record": record.pk,
                "number": record.number,
                "supersedes": last.number if last else None,
                "reason": reason,
                "digest": record.content_digest,
                "mail_to": mail_to,
            },
        )
    return record


def _write(by: Actor, visit: Visit, last: Record | None, mail_to: str, reason: str) -> Record:
    issued_at = timezone.now()
    asked = Asked(
        number=last.number + 1 if last else 1,
        supersedes=last.number if last else None,
        reason=reason if last else "",
        issued_at=issued_at,
        issued_by=by.name,
    )
    content = record_content(visit, asked)
    return Record.objects.create(
        shop_id=by.shop_id,
        visit=visit,
        number=asked.number,
        content=content.as_json(),
        content_digest=content.digest(),
        issued_at=issued_at,
        issued_by=by.name,
        supersedes=last,
        supersede_reason=asked.reason,
        mail_to=mail_to,
    )


def print_once(record: Record) -> bytes:
    """The PDF of a record, printed now unless it was before; the first print is kept for good.

    Safe to run twice at once: whoever comes second keeps and returns the first one's PDF.
    """
    if record.pdf is not None:
        return bytes(record.pdf)
    pdf = print_record(RecordContent.from_json(record.content)).pdf
    digest = hashlib.sha256(pdf).hexdigest()
    kept = Record.objects.filter(pk=record.pk, pdf__isnull=True).update(pdf=pdf, pdf_digest=digest)
    if kept == 0:
        pdf = bytes(Record.objects.only("pdf").get(pk=record.pk).pdf or b"")
    return pdf


def _check_closed(visit: Visit) -> None:
    was_here = visit.state == VisitState.CANCELLED and visit.checked_in_at is not None
    if visit.state in _CLOSED or was_here:
        return
    state = visit.state.replace("_", " ")
    raise Conflict(
        "record_too_early",
        f"The visit is {state}; a record is issued when it is ready.",
        detail="Finish and verify the calibrations, compare the scans, and mark the visit ready.",
        facts={"state": visit.state},
    )


def _check_reason(last: Record | None, reason: str) -> None:
    if last is not None and not reason:
        says = f"Record {last.number} is issued already."
        raise _invalid("reason", says, "Write why a new one takes its place.")
    if len(reason) > REASON_LENGTH:
        raise _invalid("reason", "This is too long.", f"at most {REASON_LENGTH} characters")


def _check_address(mail_to: str) -> None:
    if not mail_to:
        return
    try:
        validate_email(mail_to)
    except ValidationError as error:
        right = "an address like name@example.com, or nothing"
        raise _invalid("mail_to", "This is not a mail address.", right) from error
    if len(mail_to) > MAIL_LENGTH:
        raise _invalid("mail_to", "This is too long.", f"at most {MAIL_LENGTH} characters")


def _invalid(path: str, says: str, right: str) -> Invalid:
    return Invalid(
        "invalid", "Some of what was given is wrong.", errors=[FieldError(path, says, right)]
    )
