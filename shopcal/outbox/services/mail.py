"""Mail: owed in a transaction, sent later, received once.

A mail's Message-ID follows from its outbox key, so a mail that leaves twice can be told apart from
two mails. Large attachments are not stored with the message: it names who makes them.
"""

from __future__ import annotations

import hashlib
import smtplib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from email.utils import format_datetime, parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.message import BadHeaderError
from django.utils import timezone

from shopcal.outbox.models import SentMail
from shopcal.outbox.registry import GiveUp, Message
from shopcal.outbox.services.messages import enqueue

KIND = "mail.send"
TIMEOUT_SECONDS = 20


@dataclass(frozen=True)
class Attachment:
    filename: str
    content: bytes
    mime_type: str


Provider = Callable[[str], Attachment]
_providers: dict[str, Provider] = {}


def attachment_provider(kind: str) -> Callable[[Provider], Provider]:
    """Register the decorated function to make attachments of ``kind`` from an id, when mail leaves.

    It must be in a module that every worker imports, such as an app's ``tasks``.
    """

    def register(provide: Provider) -> Provider:
        _providers[kind] = provide
        return provide

    return register


@dataclass(frozen=True)
class Mail:
    """One mail; ``attachments`` are (provider kind, id), ``html`` says the same as ``text``."""

    to: Sequence[str]
    subject: str
    text: str
    html: str = ""
    attachments: Sequence[tuple[str, str]] = ()
    reply_to: str = ""


def queue_mail(mail: Mail, *, key: str, shop_id: int | None) -> None:
    """Owe a mail, in the caller's transaction; the same ``key`` is the same mail, sent once.

    Raises:
        ValueError: nobody to send to, or a line break in the subject.
        LookupError: no provider is registered for an attachment.
    """
    if not mail.to:
        raise ValueError("A mail needs somebody to send it to.")
    if any(mark in mail.subject for mark in "\r\n"):
        raise ValueError("A subject is one line.")
    for kind, _ in mail.attachments:
        _provider(kind)
    payload = {
        "to": list(mail.to),
        "subject": mail.subject,
        "text": mail.text,
        "html": mail.html,
        "attachments": [{"kind": kind, "id": str(at)} for kind, at in mail.attachments],
        "reply_to": mail.reply_to,
    }
    enqueue(kind=KIND, payload=payload, key=key, shop_id=shop_id)


def send_mail(message: Message) -> None:
    """Handle one ``mail.send`` message: hand it to the mail server unless it already was.

    The row in SentMail is written by itself right after the server has accepted the mail, so that
    a worker killed later does not send again. Between acceptance and that row lies a window (the
    way of the server's answer and one small commit) that nothing can close: SMTP has no way to ask
    whether a mail was accepted. A worker killed in it sends the mail a second time, with the same
    Message-ID and Date, which receivers use to drop the second.
    """
    message_id = message_id_for(message.key)
    if SentMail.objects.filter(message_id=message_id).exists():
        return
    mail = _composed(message, message_id)
    try:
        mail.send(fail_silently=False)
    except smtplib.SMTPRecipientsRefused as refusal:
        _give_up_if_final([code for code, _ in refusal.recipients.values()], refusal)
        raise
    except (smtplib.SMTPSenderRefused, smtplib.SMTPDataError) as refusal:
        _give_up_if_final([refusal.smtp_code], refusal)
        raise
    except BadHeaderError as fault:
        raise GiveUp(f"The mail cannot be written: {fault}") from fault
    # Two workers may both have sent after a lost lease; both may then note it.
    SentMail.objects.bulk_create(
        [
            SentMail(
                shop_id=message.shop_id,
                message_id=message_id,
                to=mail.to,
                subject=mail.subject[:255],
                sent_at=timezone.now(),
            )
        ],
        ignore_conflicts=True,
    )


def message_id_for(key: str) -> str:
    """The Message-ID of the mail owed under this outbox key, always the same."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    return f"<{hashlib.sha256(key.encode()).hexdigest()[:40]}@{domain}>"


def _composed(message: Message, message_id: str) -> EmailMultiAlternatives:
    payload: Mapping[str, Any] = message.payload
    to = payload["to"]
    mail = EmailMultiAlternatives(
        subject=payload["subject"],
        body=payload["text"],
        to=[to] if isinstance(to, str) else list(to),
        reply_to=[payload["reply_to"]] if payload.get("reply_to") else None,
        headers={"Message-ID": message_id, "Date": format_datetime(message.created_at)},
        connection=get_connection(timeout=getattr(settings, "EMAIL_TIMEOUT", 0) or TIMEOUT_SECONDS),
    )
    if payload.get("html"):
        mail.attach_alternative(payload["html"], "text/html")
    for named in payload.get("attachments", ()):
        made = _provider(named["kind"])(named["id"])
        mail.attach(made.filename, made.content, made.mime_type)
    return mail


def _provider(kind: str) -> Provider:
    try:
        return _providers[kind]
    except KeyError:
        raise LookupError(f"No provider is registered for attachments of kind {kind!r}.") from None


def _give_up_if_final(codes: Sequence[int], refusal: smtplib.SMTPException) -> None:
    # 5yz is a permanent refusal, 4yz a temporary one (RFC 5321, section 4.2.1).
    if codes and all(500 <= code < 600 for code in codes):
        raise GiveUp(f"The mail server refused it for good: {refusal}") from refusal
