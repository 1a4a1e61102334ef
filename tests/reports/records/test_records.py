"""Records: what they say, who may issue them, and that they stay as they were."""

from __future__ import annotations

import hashlib
import io
import json
from datetime import timedelta
from typing import Any

import pypdf
import pytest
from django.core import mail as outgoing
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.models import Reading
from reports.models import Record
from reports.records.content import ContentUnreadable, RecordContent
from reports.records.printing import print_record
from reports.selectors.record_facts import Asked, record_content
from reports.selectors.records import records_of_visit
from reports.services.records import issue_record, print_once
from reports.tasks.records import render_record
from shopcal.accounts.models import Shop
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound
from shopcal.history.models import Event
from shopcal.outbox import Message, drain
from shopcal.outbox.models import OutboxMessage
from tests.conftest import Person
from tests.reports.conftest import MORNING, MakeVisit, calibrate_twice

pytestmark = pytest.mark.django_db


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def content_now(visit: Any) -> RecordContent:
    return record_content(visit, Asked(1, None, "", MORNING + timedelta(hours=4), "Sela Wren"))


def test_the_pdf_says_what_was_measured_judged_and_set_aside(
    shop: Shop, make_visit: MakeVisit
) -> None:
    text = text_of(print_record(content_now(make_visit(shop))).pdf)
    for said in (
        "What was done and why",
        "Before and after",
        "The camera looks through the windscreen",
        "windscreen replaced",
        "1G4AH59H45G118341",
        "RO 3107",
        "Page 1 of",
        "400.4 cm",
        "Tape 5 m (serial TM-0417)",
        "more than 99.9 % sure within the limits",
        "light behind the target",
        "Attempt 2",
        "The roller door is shut now and the meter agrees.",
        "Maud Ellery, 25 Nov 2026, 10:05",
        "Front camera, target ahead, edition 1 (invented for demonstration)",
        "19 Jan 2026",
        "fit, inspection due on 14 March 2027",
        "Belongs to the tow bar; the customer knows.",
        "current service information decides",
    ):
        assert said in text, said


def test_the_content_is_attached_for_programs(shop: Shop, make_visit: MakeVisit) -> None:
    content = content_now(make_visit(shop))
    reader = pypdf.PdfReader(io.BytesIO(print_record(content).pdf))
    (attached,) = reader.attachments["record.json"]
    assert hashlib.sha256(attached).hexdigest() == content.digest()
    assert RecordContent.from_json(json.loads(attached)) == content


def test_the_same_content_prints_to_the_same_bytes(shop: Shop, make_visit: MakeVisit) -> None:
    content = content_now(make_visit(shop))
    assert print_record(content).pdf == print_record(content).pdf


def test_scans_are_compared_as_cleared_remaining_and_new(shop: Shop, make_visit: MakeVisit) -> None:
    scans = content_now(make_visit(shop)).scans
    assert [code.code for code in scans.cleared] == ["C1A2B-16"]
    assert [code.code for code in scans.remaining] == ["B1342"]
    assert [code.code for code in scans.new] == ["U0123"]
    assert scans.remaining[0].explanation == "Belongs to the tow bar; the customer knows."


def test_times_are_on_the_shops_clock(shop: Shop, make_visit: MakeVisit) -> None:
    assert content_now(make_visit(shop)).visit.checked_in_at == "2026-11-25T08:30:00-06:00"


def test_content_survives_json_whatever_a_database_makes_of_its_numbers(
    shop: Shop, make_visit: MakeVisit
) -> None:
    content = content_now(make_visit(shop))
    stored = content.as_json()
    reading = stored["calibrations"][0]["attempts"][0]["readings"][0]
    reading["value"] = int(reading["value"])
    again = RecordContent.from_json(stored)
    assert again == content
    assert again.digest() == content.digest()


@pytest.mark.parametrize(
    ("path", "value"),
    [("form", 2), ("people", "Tobin"), ("shop", None), ("unknown", 1), ("people", [1])],
)
def test_content_of_another_form_is_refused(
    shop: Shop, make_visit: MakeVisit, path: str, value: object
) -> None:
    stored = content_now(make_visit(shop)).as_json()
    stored[path] = value
    with pytest.raises(ContentUnreadable):
        RecordContent.from_json(stored)


HOSTILE = [
    '#panic("no") #sys.inputs $x^2$ *bold* _it_ @ref <label> \\ // /* ',
    '"}], "x": [#eval("1+1")]',
    "#include \"/etc/passwd\" #read('/etc/passwd')",
    "Zoë Łukasz 李 \U0001f697",
    "evil\u202eflip\x07\x1b[31m",
    "A" * 120,
]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_is_printed_as_text_and_breaks_nothing(
    shop: Shop, make_visit: MakeVisit, name: str
) -> None:
    printed = print_record(content_now(make_visit(shop, customer_name=name)))
    text = text_of(printed.pdf)
    assert "Customer" in text
    assert "\u202e" not in text
    assert "root:" not in text
    start = name.split(maxsplit=1)[0][:12]
    if start.isascii() and start.isprintable():
        assert start in text


def test_the_number_of_queries_does_not_grow_with_the_visit(
    shop: Shop, make_visit: MakeVisit
) -> None:
    visit = make_visit(shop)
    with CaptureQueriesContext(
        connection,
    ) as one:
        content_now(visit)
    step = visit.steps.get()
    step.order = 9
    step.save()
    calibrate_twice(visit)
    with CaptureQueriesContext(connection) as two:
        content_now(visit)
    assert len(two) == len(one)
    assert len(one) <= 14


def test_issuing_prints_and_mails_the_pdf_once(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    visit = make_visit(shop)
    record = issue_record(by=service_writer.actor, visit=visit, mail_to="hanna@example.test")
    assert record.pdf is None
    assert not outgoing.outbox
    while drain():
        pass
    record.refresh_from_db()
    (sent,) = outgoing.outbox
    (attached,) = sent.attachments
    assert attached.content == bytes(record.pdf)
    assert attached.content.startswith(b"%PDF")
    assert attached.filename == "calibration-record-3107-1.pdf"
    assert "current service information decides" in sent.body
    event = Event.objects.get(kind="record.issued")
    assert (event.visit_id, event.after["digest"]) == (visit.pk, record.content_digest)
    (row,) = records_of_visit(shop.pk, visit.pk)
    assert row.mailed_at is not None


def test_a_render_task_that_runs_again_changes_and_mails_nothing_more(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    visit = make_visit(shop)
    record = issue_record(by=service_writer.actor, visit=visit, mail_to="hanna@example.test")
    while drain():
        pass
    record.refresh_from_db()
    before = (bytes(record.pdf), record.pdf_digest)
    owed = OutboxMessage.objects.get(kind="record.render")
    again = Message(
        owed.pk, owed.kind, owed.key, owed.payload, owed.shop_id, 2, "x", owed.created_at
    )
    render_record(again)()
    while drain():
        pass
    record.refresh_from_db()
    assert (bytes(record.pdf), record.pdf_digest) == before
    assert len(outgoing.outbox) == 1


def test_a_second_print_at_the_same_time_keeps_the_first(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    record = issue_record(by=service_writer.actor, visit=make_visit(shop))
    stale = Record.objects.get(pk=record.pk)
    first = print_once(Record.objects.get(pk=record.pk))
    assert print_once(stale) == first


def test_superseding_needs_a_reason_and_leaves_the_old_one_as_it_was(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    visit = make_visit(shop)
    first = issue_record(by=service_writer.actor, visit=visit)
    with pytest.raises(Invalid) as refused:
        issue_record(by=service_writer.actor, visit=visit)
    assert refused.value.errors[0].path == "reason"
    visit.customer_name = "Hannah Birch"
    visit.save()
    second = issue_record(by=service_writer.actor, visit=visit, reason="Name misspelt")
    assert (second.number, second.supersedes_id) == (2, first.pk)
    first.refresh_from_db()
    assert first.content["visit"]["customer"] == "Hanna Birch"
    assert second.content["visit"]["customer"] == "Hannah Birch"
    text = text_of(print_once(second))
    assert "Takes the place of record 1: Name misspelt" in text


@pytest.mark.parametrize(
    "change",
    [
        {"content": {}},
        {"number": 7},
        {"issued_by": "nobody"},
        {"content_digest": "0" * 64},
        {"supersede_reason": "x"},
    ],
)
def test_the_database_refuses_to_change_an_issued_record(
    shop: Shop, make_visit: MakeVisit, service_writer: Person, change: dict[str, Any]
) -> None:
    record = issue_record(by=service_writer.actor, visit=make_visit(shop))
    with pytest.raises(DatabaseError), transaction.atomic():
        Record.objects.filter(pk=record.pk).update(**change)


def test_the_database_refuses_to_remove_a_record_or_to_print_it_anew(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    record = issue_record(by=service_writer.actor, visit=make_visit(shop))
    print_once(record)
    with pytest.raises(DatabaseError), transaction.atomic():
        Record.objects.filter(pk=record.pk).update(pdf=b"other")
    with pytest.raises(DatabaseError), transaction.atomic():
        Record.objects.filter(pk=record.pk).delete()


@pytest.mark.parametrize("state", ["booked", "checked_in", "in_work", "on_hold"])
def test_no_record_before_the_work_is_closed(
    shop: Shop, make_visit: MakeVisit, service_writer: Person, state: str
) -> None:
    with pytest.raises(Conflict) as refused:
        issue_record(by=service_writer.actor, visit=make_visit(shop, state=state))
    assert refused.value.code == "record_too_early"
    assert not OutboxMessage.objects.filter(kind="record.render").exists()


def test_a_vehicle_that_was_here_may_have_a_record_though_cancelled(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    came = make_visit(shop, state="cancelled", cancelled_reason="parts missing", done=False)
    assert issue_record(by=service_writer.actor, visit=came).number == 1
    never = make_visit(shop, "3108", state="cancelled", checked_in_at=None, done=False)
    with pytest.raises(Conflict):
        issue_record(by=service_writer.actor, visit=never)


def test_a_technician_and_another_shop_may_not_issue(
    shop: Shop, make_visit: MakeVisit, technician: Person, other_manager: Person
) -> None:
    visit = make_visit(shop)
    with pytest.raises(NotAllowed):
        issue_record(by=technician.actor, visit=visit)
    with pytest.raises(NotFound):
        issue_record(by=other_manager.actor, visit=visit)
    assert not Record.objects.exists()


def test_a_mail_address_that_cannot_be_one_is_refused(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    with pytest.raises(Invalid) as refused:
        issue_record(
            by=service_writer.actor, visit=make_visit(shop), mail_to="a@b.test\nBcc: x@y.test"
        )
    assert refused.value.errors[0].path == "mail_to"


def test_a_corrected_reading_is_shown_as_not_used(shop: Shop, make_visit: MakeVisit) -> None:
    visit = make_visit(shop)
    Reading.objects.filter(name="left_distance").update(struck_at=timezone.now())
    assert "corrected, not used" in text_of(print_record(content_now(visit)).pdf)


def test_a_visit_without_scans_or_calibrations_is_printed_as_it_is(
    shop: Shop, make_visit: MakeVisit
) -> None:
    text = text_of(print_record(content_now(make_visit(shop, done=False))).pdf)
    assert "Pre-scan: none was taken." in text
    assert "No calibration belonged to this visit." in text
