"""Pages of this app: strangers, roles, other shops, and what the right people see."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from reports.models import Record, WebhookEndpoint
from reports.services.records import issue_record
from reports.services.webhooks import add_endpoint
from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.reports.conftest import MakeVisit

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Person], Client]


@pytest.fixture
def record(shop: Shop, make_visit: MakeVisit, service_writer: Person) -> Record:
    return issue_record(by=service_writer.actor, visit=make_visit(shop))


def test_strangers_sign_in_first(record: Record) -> None:
    for path in (
        f"/records/{record.pk}.pdf",
        f"/visits/{record.visit_id}/records/",
        "/figures/",
        "/setup/webhooks/",
    ):
        answer = Client().get(path)
        assert answer.status_code == 302, path
        assert answer["Location"].startswith("/sign-in"), path


@pytest.mark.parametrize("path", ["/figures/", "/setup/webhooks/"])
def test_only_managers_see_figures_and_webhooks(
    path: str,
    shop: Shop,
    client_for: ClientFor,
    manager: Person,
    technician: Person,
    service_writer: Person,
) -> None:
    assert client_for(manager).get(path).status_code == 200
    assert client_for(technician).get(path).status_code == 403
    assert client_for(service_writer).get(path).status_code == 403


def test_another_shops_records_are_not_there(
    record: Record, client_for: ClientFor, other_manager: Person
) -> None:
    other = client_for(other_manager)
    assert other.get(f"/records/{record.pk}.pdf").status_code == 404
    assert other.get(f"/visits/{record.visit_id}/records/").status_code == 404
    assert other.post(f"/visits/{record.visit_id}/records/").status_code == 404
    assert other.get("/records/999999999999999999999999.pdf").status_code == 404


def test_wrong_methods_are_refused(record: Record, client_for: ClientFor, manager: Person) -> None:
    browser = client_for(manager)
    assert browser.post(f"/records/{record.pk}.pdf").status_code == 405
    assert browser.delete(f"/visits/{record.visit_id}/records/").status_code == 405
    assert browser.post("/figures/").status_code == 405
    assert browser.get("/setup/webhooks/1/remove/").status_code == 405


def test_the_pdf_is_printed_when_asked_for_before_the_worker_came(
    record: Record, client_for: ClientFor, technician: Person
) -> None:
    answer = client_for(technician).get(f"/records/{record.pk}.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    record.refresh_from_db()
    assert bytes(record.pdf) == answer.content


def test_the_office_issues_and_supersedes_from_the_visits_page(
    shop: Shop, make_visit: MakeVisit, client_for: ClientFor, service_writer: Person
) -> None:
    visit = make_visit(shop)
    browser = client_for(service_writer)
    path = f"/visits/{visit.pk}/records/"
    empty = browser.get(path).content.decode()
    assert "No record yet" in empty
    assert 'value="hanna@example.test"' in empty
    assert browser.post(path, {"mail_to": ""}).status_code == 302
    refused = browser.post(path, {"mail_to": "x@y.test", "reason": " "})
    assert refused.status_code == 422
    assert 'value="x@y.test"' in refused.content.decode()
    assert browser.post(path, {"reason": "Name <misspelt>"}).status_code == 302
    page = browser.get(path).content.decode()
    assert "Instead of record 1: Name &lt;misspelt&gt;" in page
    assert page.count("superseded") == 1


def test_a_part_asked_for_by_htmx_is_the_part_alone(
    record: Record, client_for: ClientFor, manager: Person
) -> None:
    browser = client_for(manager)
    for path, mark in (
        (f"/visits/{record.visit_id}/records/", 'id="visit-records"'),
        ("/figures/", "What is late and why"),
    ):
        part = browser.get(path, headers={"HX-Request": "true"}).content.decode()
        assert mark in part
        assert "<html" not in part


def test_a_technician_sees_records_but_no_way_to_issue(
    record: Record, client_for: ClientFor, technician: Person
) -> None:
    browser = client_for(technician)
    path = f"/visits/{record.visit_id}/records/"
    assert "<form class" not in browser.get(path).content.decode()
    assert browser.post(path, {"reason": "x"}).status_code == 403
    assert Record.objects.count() == 1


def test_an_empty_shop_is_told_so_honestly(
    shop: Shop, client_for: ClientFor, manager: Person
) -> None:
    page = client_for(manager).get("/figures/").content.decode()
    for said in (
        "Nothing is late",
        "nothing released yet this week",
        "nothing to count yet",
        "No floor plan is published yet.",
        "No attempt failed or was stopped this week.",
        "there is nothing to compare",
    ):
        assert said in page


def test_the_late_vehicle_stands_first_with_its_reason(
    shop: Shop, make_visit: MakeVisit, client_for: ClientFor, manager: Person
) -> None:
    make_visit(
        shop,
        state="on_hold",
        hold_reason="waiting for <a bracket>",
        ready_at=None,
        promised_at=timezone.now() - timedelta(minutes=20),
    )
    page = client_for(manager).get("/figures/").content.decode()
    assert "1 vehicle" in page
    assert "On hold: waiting for &lt;a bracket&gt;" in page


def test_a_webhooks_secret_is_shown_once(
    shop: Shop, client_for: ClientFor, manager: Person
) -> None:
    browser = client_for(manager)
    added = browser.post("/setup/webhooks/", {"url": "https://receiver.test/x", "kinds": "visit."})
    assert added.status_code == 201
    endpoint = WebhookEndpoint.objects.get()
    assert endpoint.secret in added.content.decode()
    assert endpoint.secret not in browser.get("/setup/webhooks/").content.decode()
    assert browser.post("/setup/webhooks/", {"url": "nothing"}).status_code == 422
    assert browser.post(f"/setup/webhooks/{endpoint.pk}/remove/").status_code == 302
    assert not WebhookEndpoint.objects.exists()


def test_another_shops_webhook_cannot_be_removed(
    shop: Shop, client_for: ClientFor, manager: Person, other_manager: Person
) -> None:
    endpoint = add_endpoint(by=manager.actor, url="https://receiver.test/x").endpoint
    answer = client_for(other_manager).post(f"/setup/webhooks/{endpoint.pk}/remove/")
    assert answer.status_code == 404
    assert WebhookEndpoint.objects.count() == 1
