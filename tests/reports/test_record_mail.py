"""The record's mail as a mail server receives it."""

from __future__ import annotations

import email
import email.policy
import socket
from collections.abc import Iterator
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import Envelope

from reports.services.records import issue_record
from shopcal.accounts.models import Shop
from shopcal.outbox import drain
from shopcal.outbox.models import OutboxMessage
from tests.conftest import Person
from tests.reports.conftest import MakeVisit

pytestmark = pytest.mark.django_db


class Inbox:
    """Keeps what it is given; refuses for now as many times as it is told to."""

    def __init__(self) -> None:
        self.mails: list[email.message.EmailMessage] = []
        self.refusals = 0

    async def handle_DATA(self, server: Any, session: Any, envelope: Envelope) -> str:
        if self.refusals:
            self.refusals -= 1
            return "451 Come back later"
        parsed = email.message_from_bytes(envelope.content or b"", policy=email.policy.default)
        self.mails.append(parsed)
        return "250 OK"


@pytest.fixture
def inbox(settings: Any) -> Iterator[Inbox]:
    box = Inbox()
    with socket.socket() as free:  # aiosmtpd wants to know its port beforehand
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = port
    settings.EMAIL_USE_TLS = False
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    yield box
    controller.stop()


def send_all() -> None:
    while drain():
        pass


def test_the_customer_receives_one_mail_with_the_pdf_as_it_is_kept(
    shop: Shop, make_visit: MakeVisit, service_writer: Person, inbox: Inbox
) -> None:
    visit = make_visit(shop, customer_name="Hanna\r\nBcc: x@y.test")
    record = issue_record(by=service_writer.actor, visit=visit, mail_to="hanna@example.test")
    send_all()
    OutboxMessage.objects.filter(kind="record.render").update(done_at=None)  # as after a kill
    send_all()
    record.refresh_from_db()
    (mail,) = inbox.mails
    assert mail["To"] == "hanna@example.test"
    assert mail["Bcc"] is None
    assert mail["Subject"] == "Calibration record 3107, Fennhollow Sensor Works"
    (attached,) = mail.iter_attachments()
    assert attached.get_content_type() == "application/pdf"
    assert attached.get_content() == bytes(record.pdf)


def test_a_mail_server_that_is_busy_is_asked_again(
    shop: Shop, make_visit: MakeVisit, service_writer: Person, inbox: Inbox
) -> None:
    inbox.refusals = 1
    issue_record(by=service_writer.actor, visit=make_visit(shop), mail_to="hanna@example.test")
    send_all()
    assert inbox.mails == []
    owed = OutboxMessage.objects.filter(kind="mail.send")
    assert "451" in owed.get().last_error
    owed.update(run_at="2026-01-01T00:00Z")
    send_all()
    assert len(inbox.mails) == 1
