"""The API of this app, endpoint by endpoint."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from reports.models import Record, WebhookEndpoint
from reports.services.records import issue_record
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.reports.conftest import MakeVisit

pytestmark = pytest.mark.django_db
CallerFor = Callable[[Person], Client]
RECORDS, WEBHOOKS, FIGURES = "/api/v1/records/", "/api/v1/webhooks/", "/api/v1/figures/"


def post(caller: Client, path: str, body: object, **headers: str) -> object:
    return caller.post(path, body, content_type="application/json", headers=headers)


def test_strangers_are_refused(shop: Shop) -> None:
    for path in (RECORDS, WEBHOOKS, FIGURES):
        assert Client().get(path).status_code == 401, path
        assert Client().get(path)["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("path", [WEBHOOKS, FIGURES])
def test_only_managers_read_figures_and_webhooks(
    path: str, shop: Shop, caller_for: CallerFor, manager: Person, technician: Person
) -> None:
    assert caller_for(manager).get(path).status_code == 200
    assert caller_for(technician).get(path).status_code == 403


def test_a_record_is_issued_once_per_key_and_read_with_its_content(
    shop: Shop, make_visit: MakeVisit, caller_for: CallerFor, service_writer: Person
) -> None:
    visit = make_visit(shop)
    caller = caller_for(service_writer)
    first = post(caller, RECORDS, {"visit": visit.pk}, **{"Idempotency-Key": "k1"})
    again = post(caller, RECORDS, {"visit": visit.pk}, **{"Idempotency-Key": "k1"})
    assert first.status_code == again.status_code == 201
    assert first.json() == again.json()
    assert Record.objects.count() == 1
    shown = caller.get(first["Location"]).json()
    assert shown["content"]["vehicle"]["vin"] == "1G4AH59H45G118341"
    assert shown["is_printed"] is False
    pdf = caller.get(shown["pdf"])
    assert (pdf.status_code, pdf["Content-Type"]) == (200, "application/pdf")
    assert pdf.content.startswith(b"%PDF")
    assert caller.get(first["Location"]).json()["is_printed"] is True


def test_records_are_listed_by_visit_and_by_what_is_current(
    shop: Shop, make_visit: MakeVisit, caller_for: CallerFor, service_writer: Person
) -> None:
    visit, other = make_visit(shop), make_visit(shop, "3108", done=False)
    first = issue_record(by=service_writer.actor, visit=visit)
    second = issue_record(by=service_writer.actor, visit=visit, reason="Name misspelt")
    third = issue_record(by=service_writer.actor, visit=other)
    caller = caller_for(service_writer)

    def ids(query: str) -> list[int]:
        rows = caller.get(RECORDS + query).json()["results"]
        assert all("content" not in row for row in rows)
        return [row["id"] for row in rows]

    assert ids("") == [third.pk, second.pk, first.pk]
    assert ids(f"?visit={visit.pk}") == [second.pk, first.pk]
    assert ids(f"?visit={visit.pk}&current=true") == [second.pk]
    rows = caller.get(f"{RECORDS}?visit={visit.pk}").json()["results"]
    assert [row["superseded_by"] for row in rows] == [None, second.pk]
    assert caller.get(RECORDS + "?visti=1").status_code == 422


def test_refusals_of_issuing_are_problems_with_a_code(
    shop: Shop, make_visit: MakeVisit, caller_for: CallerFor, manager: Person, technician: Person
) -> None:
    early = make_visit(shop, state="in_work")
    caller = caller_for(manager)
    refused = post(caller, RECORDS, {"visit": early.pk})
    assert (refused.status_code, refused.json()["code"]) == (409, "record_too_early")
    assert post(caller, RECORDS, {"visit": 10**30}).status_code == 422
    assert post(caller, RECORDS, {"visit": early.pk, "mail_to": "no"}).status_code == 422
    assert post(caller_for(technician), RECORDS, {"visit": early.pk}).status_code == 403
    assert Client().get("/api/problems/record_too_early").status_code == 200


def test_another_shops_records_and_visits_are_not_there(
    shop: Shop,
    make_visit: MakeVisit,
    caller_for: CallerFor,
    service_writer: Person,
    other_manager: Person,
) -> None:
    visit = make_visit(shop)
    record = issue_record(by=service_writer.actor, visit=visit)
    caller = caller_for(other_manager)
    assert caller.get(RECORDS).json()["results"] == []
    assert caller.get(f"{RECORDS}{record.pk}/").status_code == 404
    assert caller.get(f"{RECORDS}{record.pk}/pdf/").status_code == 404
    assert post(caller, RECORDS, {"visit": visit.pk}).status_code == 422


def test_a_record_cannot_be_changed_or_removed(
    shop: Shop, make_visit: MakeVisit, caller_for: CallerFor, service_writer: Person
) -> None:
    record = issue_record(by=service_writer.actor, visit=make_visit(shop))
    caller = caller_for(service_writer)
    for method in (caller.put, caller.patch, caller.delete):
        assert method(f"{RECORDS}{record.pk}/").status_code == 405


def test_figures_of_a_period_carry_their_intervals(
    shop: Shop, make_visit: MakeVisit, caller_for: CallerFor, manager: Person
) -> None:
    now = timezone.now()
    make_visit(
        shop, state="released", released_at=now, promised_at=now, ready_at=now - timedelta(hours=1)
    )
    on = now.astimezone(shop.zone).date()
    figures = caller_for(manager).get(f"{FIGURES}?from={on}&to={on}").json()
    assert figures["released"] == [{"on": str(on), "count": 1}]
    kept = figures["promises_kept"]
    assert (kept["hits"], kept["cases"], kept["upper"]) == (1, 1, 1.0)
    assert 0.2 < kept["lower"] < 0.21  # one case says little
    assert caller_for(manager).get(FIGURES).status_code == 200


@pytest.mark.parametrize(
    "query",
    ["from=2026-02-30", "from=yesterday", "from=2026-11-25&to=2026-11-24", "from=2020-01-01"],
)
def test_a_period_that_cannot_be_is_refused(
    query: str, shop: Shop, caller_for: CallerFor, manager: Person
) -> None:
    assert caller_for(manager).get(f"{FIGURES}?{query}").status_code == 422


def test_a_webhook_is_added_with_its_secret_shown_once(
    shop: Shop, caller_for: CallerFor, manager: Person, other_manager: Person
) -> None:
    caller = caller_for(manager)
    body = {"url": "https://receiver.test/x", "kinds": ["visit."]}
    added = post(caller, WEBHOOKS, body, **{"Idempotency-Key": "w1"})
    endpoint = WebhookEndpoint.objects.get()
    assert added.json()["secret"] == endpoint.secret
    assert post(caller, WEBHOOKS, body, **{"Idempotency-Key": "w1"}).json()["secret"] is None
    assert WebhookEndpoint.objects.count() == 1
    shown = caller.get(added["Location"]).json()
    assert "secret" not in shown
    assert shown["kinds"] == ["visit."]
    assert post(caller, WEBHOOKS, {"url": "ftp://x.test/"}).status_code == 422
    assert post(caller, WEBHOOKS, {**body, "kinds": ["token."]}).status_code == 422
    other = caller_for(other_manager)
    assert other.get(WEBHOOKS).json()["results"] == []
    assert other.delete(added["Location"]).status_code == 404
    assert caller.delete(added["Location"]).status_code == 204
    assert caller.get(added["Location"]).status_code == 404
