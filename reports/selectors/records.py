"""Issued records, and whether their mail has left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from reports.models import Record
from shopcal.errors import NotFound
from shopcal.outbox.models import SentMail
from shopcal.outbox.services.mail import message_id_for


def mail_key(record_id: int) -> str:
    """The outbox key of a record's mail: one mail a record."""
    return f"record-mail:{record_id}"


def records(shop_id: int) -> QuerySet[Record]:
    """All records of a shop without their PDFs, which are large."""
    return (
        Record.objects.for_shop(shop_id)
        .select_related("visit", "supersedes", "superseded_by")
        .defer("pdf", "content", "supersedes__pdf", "supersedes__content")
        .defer("superseded_by__pdf", "superseded_by__content")
    )


def record_of(shop_id: int, record_id: int) -> Record:
    """One record with its content and PDF.

    Raises:
        NotFound: no such record in this shop.
    """
    record = Record.objects.for_shop(shop_id).select_related("visit").filter(pk=record_id).first()
    if record is None:
        raise NotFound("missing", "There is no such record in this shop.")
    return record


@dataclass(frozen=True)
class RecordRow:
    """A record as it is listed; ``mailed_at`` is when the mail server took its mail."""

    record: Record
    mailed_at: datetime | None
    is_current: bool


def records_of_visit(shop_id: int, visit_id: int) -> list[RecordRow]:
    """All records of a visit, the newest first: two queries."""
    rows = list(records(shop_id).filter(visit_id=visit_id).order_by("-number"))
    names = {message_id_for(mail_key(row.pk)): row.pk for row in rows if row.mail_to}
    sent = {
        names[message_id]: sent_at
        for message_id, sent_at in SentMail.objects.filter(message_id__in=names).values_list(
            "message_id", "sent_at"
        )
    }
    return [RecordRow(row, sent.get(row.pk), at == 0) for at, row in enumerate(rows)]
