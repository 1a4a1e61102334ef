"""Mails a printed record."""

from __future__ import annotations

from reports.models import Record
from reports.records.content import MAKER_FIRST
from reports.selectors.records import mail_key
from reports.services.records import print_once
from shopcal.outbox.services.mail import Attachment, Mail, queue_mail

PROVIDER = "record-pdf"


def queue_record_mail(record: Record) -> None:
    """Owe the mail with the PDF, in the caller's transaction; nothing where nobody is to get it."""
    if not record.mail_to:
        return
    shop, visit = record.shop, record.visit
    queue_mail(
        Mail(
            to=[record.mail_to],
            # A subject is one line, whatever was typed as a name.
            subject=" ".join(f"Calibration record {visit.ro_number}, {shop.name}".split()),
            text=_text(record),
            attachments=[(PROVIDER, str(record.pk))],
            reply_to=shop.email,
        ),
        key=mail_key(record.pk),
        shop_id=record.shop_id,
    )


def record_attachment(record_id: str) -> Attachment:
    """The PDF as it is attached."""
    record = Record.objects.select_related("visit").get(pk=int(record_id))
    return Attachment(file_name(record), print_once(record), "application/pdf")


def file_name(record: Record) -> str:
    """A name of plain letters and digits, for any file system and any mail header."""
    ro = "".join(c if c.isascii() and c.isalnum() else "-" for c in record.visit.ro_number)
    return f"calibration-record-{ro}-{record.number}.pdf"


def _text(record: Record) -> str:
    visit, shop = record.visit, record.shop
    parts = [
        f"Hello {visit.customer_name},",
        f"here is the record of the calibration of your vehicle {visit.vehicle.label} "
        f"(repair order {visit.ro_number}).",
    ]
    if record.supersedes_id is not None:
        parts.append(
            f"It takes the place of the one you had before. Reason: {record.supersede_reason}"
        )
    parts += [MAKER_FIRST, "\n".join(line for line in (shop.name, shop.phone) if line)]
    return "\n\n".join(parts) + "\n"
