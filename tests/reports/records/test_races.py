"""Several people issue the record of one visit at the same moment."""

from __future__ import annotations

import threading

import pytest
from django.db import connection

from reports.models import Record
from reports.services.records import issue_record
from shopcal.accounts.models import Shop
from shopcal.history.models import Event
from tests.conftest import Person
from tests.reports.conftest import MakeVisit


@pytest.mark.django_db(transaction=True)
def test_issuing_at_once_gives_one_unbroken_row_of_records(
    shop: Shop, make_visit: MakeVisit, service_writer: Person
) -> None:
    visit = make_visit(shop)
    actor = service_writer.actor
    start, faults = threading.Barrier(4), []

    def issue() -> None:
        start.wait()
        try:
            issue_record(by=actor, visit=visit, reason="Issued at the same moment")
        except Exception as fault:  # told below, whatever it is
            faults.append(fault)
        finally:
            connection.close()

    threads = [threading.Thread(target=issue) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    rows = list(Record.objects.filter(visit=visit).order_by("number"))
    assert [row.number for row in rows] == [1, 2, 3, 4]
    assert [row.supersedes_id for row in rows] == [None, *(row.pk for row in rows[:-1])]
    assert Event.objects.filter(kind="record.issued").count() == 4
