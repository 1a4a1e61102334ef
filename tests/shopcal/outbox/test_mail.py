"""Mail: composed once, sent once, refused for good or for now."""

from __future__ import annotations

import smtplib
from collections.abc import Iterator
from email.utils import parsedate_to_datetime
from typing import Any

import pytest
from django.core import mail as outgoing
from django.core.mail.backends import locmem

from shopcal.outbox import drain
from shopcal.outbox.models import OutboxMessage, SentMail
from shopcal.outbox.selectors import dead_messages
from shopcal.outbox.services import Mail, attachment_provider, queue_mail
from shopcal.outbox.services import mail as mail_service
from shopcal.outbox.services.mail import Attachment, message_id_for

pytestmark = pytest.mark.django_db
READY = Mail(["sela@example.test"], "Your vehicle is ready", "Come by until 17:30.")


@pytest.fixture(autouse=True)
def _own_providers() -> Iterator[None]:
    before = dict(mail_service._providers)
    yield
    mail_service._providers.clear()
    mail_service._providers.update(before)


def test_a_mail_leaves_with_its_own_lasting_message_id_and_date() -> None:
    queue_mail(READY, key="ready:12", shop_id=None)
    drain()
    (sent,) = outgoing.outbox
    owed = OutboxMessage.objects.get()
    assert sent.to == ["sela@example.test"]
    assert sent.message()["Message-ID"] == message_id_for("ready:12")
    written_at = parsedate_to_datetime(sent.message()["Date"])
    assert written_at == owed.created_at.replace(microsecond=0)
    assert owed.done_at is not None


def test_the_same_key_is_the_same_mail_and_another_key_another() -> None:
    for key in ("ready:12", "ready:12", "ready:13"):
        queue_mail(READY, key=key, shop_id=None)
    drain()
    assert len({sent.message()["Message-ID"] for sent in outgoing.outbox}) == 2
    assert len(outgoing.outbox) == 2


def test_a_mail_that_already_left_is_not_sent_again() -> None:
    SentMail.objects.create(message_id=message_id_for("ready:12"), subject="sent before a kill")
    queue_mail(READY, key="ready:12", shop_id=None)
    assert drain().failed == 0
    assert not outgoing.outbox
    assert OutboxMessage.objects.get().done_at is not None


def test_attachments_are_made_when_the_mail_leaves_and_not_stored() -> None:
    @attachment_provider("test.record")
    def record(at: str) -> Attachment:
        return Attachment(f"record-{at}.pdf", b"%PDF-" + b"x" * 50_000, "application/pdf")

    with_record = Mail(["a@b.test"], "Record", "See below.", attachments=[("test.record", "7")])
    queue_mail(with_record, key="record:7", shop_id=None)
    assert len(str(OutboxMessage.objects.get().payload)) < 500
    drain()
    (attached,) = outgoing.outbox[0].attachments
    assert (attached.filename, len(attached.content)) == ("record-7.pdf", 50_005)


def test_html_is_sent_beside_the_text() -> None:
    queue_mail(Mail(["a@b.test"], "Hello", "Hello.", html="<p>Hello."), key="h", shop_id=None)
    drain()
    assert outgoing.outbox[0].message().get_content_type() == "multipart/alternative"


@pytest.mark.parametrize(
    ("mail", "says"),
    [
        (Mail([], "Hello", "."), "somebody"),
        (Mail(["a@b.test"], "Hello\nBcc: x@y.test", "."), "one line"),
        (Mail(["a@b.test"], "Hello", ".", attachments=[("test.nobody", "1")]), "No provider"),
    ],
)
def test_a_mail_that_cannot_be_sent_is_refused_where_it_is_owed(mail: Mail, says: str) -> None:
    with pytest.raises((ValueError, LookupError), match=says):
        queue_mail(mail, key="k", shop_id=None)
    assert not OutboxMessage.objects.exists()


# Codes as in RFC 5321, section 4.2.3: 550 mailbox unavailable, 450 mailbox busy, 554 failed.
@pytest.mark.parametrize(
    ("refusal", "for_good"),
    [
        (smtplib.SMTPRecipientsRefused({"a@b.test": (550, b"no such user")}), True),
        (smtplib.SMTPRecipientsRefused({"a@b.test": (450, b"busy")}), False),
        (smtplib.SMTPRecipientsRefused({"a@b.test": (550, b""), "c@b.test": (450, b"")}), False),
        (smtplib.SMTPDataError(554, b"refused"), True),
        (smtplib.SMTPServerDisconnected("gone"), False),
        (ConnectionRefusedError("nobody listens"), False),
    ],
)
def test_a_final_refusal_is_set_aside_and_a_passing_one_tried_again(
    monkeypatch: pytest.MonkeyPatch, refusal: Exception, for_good: bool
) -> None:
    def refuse(self: Any, messages: Any) -> int:
        raise refusal

    monkeypatch.setattr(locmem.EmailBackend, "send_messages", refuse)
    queue_mail(READY, key="ready:12", shop_id=None)
    assert drain().failed == 1
    assert dead_messages().exists() == for_good
    assert not SentMail.objects.exists()
