"""Prints a record after it was issued, and then owes its mail."""

from __future__ import annotations

from reports.models import Record
from reports.services.record_mail import PROVIDER, queue_record_mail, record_attachment
from reports.services.records import RENDER, print_once
from shopcal.outbox import Finish, GiveUp, Message, handler
from shopcal.outbox.services.mail import attachment_provider

attachment_provider(PROVIDER)(record_attachment)


@handler(RENDER, queue="records", lease_seconds=120)
def render_record(message: Message) -> Finish:
    """Keep the PDF; the mail is owed in the transaction that marks the message done."""
    rows = Record.objects.select_related("shop", "visit__vehicle")
    record = rows.filter(pk=message.payload["record_id"]).first()
    if record is None:
        raise GiveUp("There is no such record.")
    print_once(record)
    return lambda: queue_record_mail(record)
