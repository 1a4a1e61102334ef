"""Tickets, and the answer for pages whose stream does not come through."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import time_machine
from django.db import transaction
from django.template import engines
from django.test import Client, RequestFactory
from django.utils import timezone

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.errors import NotAllowed
from shopcal.history.record import record_event
from shopcal.live import feed
from shopcal.live.tickets import LIVES_SECONDS, issue_ticket, read_ticket
from tests.conftest import Person

pytestmark = pytest.mark.django_db


def happen(shop: Shop, subject: str = "visit:1", kind: str = "visit.changed") -> None:
    with transaction.atomic():
        record_event(by=Actor.system(shop.pk), kind=kind, subject=subject)


def test_a_ticket_names_the_shop_and_the_membership(manager: Person) -> None:
    ticket = read_ticket(issue_ticket(manager.actor))
    assert (ticket.shop_id, ticket.membership_id) == (manager.shop_id, manager.membership.pk)
    assert LIVES_SECONDS - 2 < ticket.seconds_left <= LIVES_SECONDS


def test_a_stale_ticket_is_refused(manager: Person) -> None:
    issued = issue_ticket(manager.actor)
    with (
        time_machine.travel(timezone.now() + timedelta(seconds=LIVES_SECONDS + 1)),
        pytest.raises(NotAllowed) as refusal,
    ):
        read_ticket(issued)
    assert refusal.value.code == "live_ticket_stale"


@pytest.mark.parametrize(
    "spoil", [lambda t: t[:0], lambda t: t[:-1], lambda t: f"x{t}", lambda t: t.replace(":", "")]
)
def test_a_ticket_that_is_not_ours_is_refused(manager: Person, spoil: Callable[[str], str]) -> None:
    with pytest.raises(NotAllowed) as refusal:
        read_ticket(spoil(issue_ticket(manager.actor)))
    assert refusal.value.code == "live_ticket_wrong"


def test_a_signed_in_page_gets_a_ticket_for_its_own_shop(
    client_for: Callable[[Person], Client], technician: Person, settings: Any
) -> None:
    settings.LIVE_URL, settings.LIVE_PORT = "", 8765
    answer = client_for(technician).get("/live/ticket/", headers={"host": "localhost:8000"})
    url = urlsplit(answer.json()["url"])
    assert (url.scheme, url.netloc, url.path) == ("http", "localhost:8765", "/events")
    assert read_ticket(parse_qs(url.query)["ticket"][0]).shop_id == technician.shop_id
    assert "no-cache" in answer["Cache-Control"]


def test_the_ticket_points_to_the_named_live_address(
    client_for: Callable[[Person], Client], technician: Person, settings: Any
) -> None:
    settings.LIVE_URL = "https://live.fennhollow.test/stream"
    answer = client_for(technician).get("/live/ticket/")
    assert answer.json()["url"].startswith("https://live.fennhollow.test/stream/events?ticket=")


@pytest.mark.parametrize("path", ["/live/ticket/", "/live/since/0/"])
def test_strangers_and_those_who_left_are_refused(
    path: str, client: Client, client_for: Callable[[Person], Client], technician: Person
) -> None:
    assert client.get(path).status_code == 403
    browser = client_for(technician)
    assert browser.get(path).status_code == 200
    assert browser.post(path).status_code == 405
    technician.membership.active = False
    technician.membership.save()
    assert browser.get(path).status_code == 403


def test_what_changed_since_is_told_once(
    client_for: Callable[[Person], Client], technician: Person, shop: Shop
) -> None:
    for subject in ("visit:1", "visit:2", "visit:1"):
        happen(shop, subject)
    browser = client_for(technician)
    answer = browser.get("/live/since/1/")
    assert answer.json() == {
        "seq": 3,
        "kinds": ["visit.changed"],
        "subjects": ["visit:2", "visit:1"],
    }
    again = {"headers": {"if-none-match": answer["ETag"]}}
    assert browser.get("/live/since/3/", **again).status_code == 304
    happen(shop, "unit:7")
    assert browser.get("/live/since/3/", **again).json()["subjects"] == ["unit:7"]


def test_another_shops_events_are_not_told(
    client_for: Callable[[Person], Client], technician: Person, other_shop: Shop
) -> None:
    happen(other_shop)
    answer = client_for(technician).get("/live/since/0/")
    assert answer.json() == {"seq": 0, "kinds": [], "subjects": []}


def test_a_page_far_behind_or_from_the_future_is_told_that_anything_may_have_changed(
    client_for: Callable[[Person], Client], technician: Person, shop: Shop, monkeypatch: Any
) -> None:
    monkeypatch.setattr(feed, "MOST_HINTS", 3)
    for _ in range(4):
        happen(shop)
    browser = client_for(technician)
    everything = {"seq": 4, "kinds": ["*"], "subjects": ["*"]}
    assert browser.get("/live/since/0/").json() == everything
    assert browser.get("/live/since/99/").json() == everything
    assert browser.get("/live/since/1/").json()["kinds"] == ["visit.changed"]


def test_the_feed_reads_many_shops_at_once_and_each_from_its_own_place(
    shop: Shop, other_shop: Shop, monkeypatch: Any
) -> None:
    monkeypatch.setattr(feed, "SHOPS_A_QUERY", 1)
    for at in (shop, other_shop, shop):
        happen(at)
    found = feed.hints_of_shops({shop.pk: 1, other_shop.pk: 0, 999: 0})
    assert {key: [hint.seq for hint in hints] for key, hints in found.items()} == {
        shop.pk: [2],
        other_shop.pk: [1],
    }
    assert feed.hints_of_shops({}) == {}


def test_a_page_listens_from_a_little_before_it_was_written(shop: Shop) -> None:
    with time_machine.travel(timezone.now() - timedelta(minutes=1)):
        happen(shop)
    happen(shop)
    assert feed.last_seq(shop.pk) == 2
    assert feed.seq_before_page(shop.pk) == 1


def rendered(actor: Actor | None) -> str:
    request = RequestFactory().get("/", headers={"host": "localhost"})
    request.actor = actor  # type: ignore[attr-defined]
    return engines["django"].get_template("live/_listen.html").render({}, request)


def test_the_fragment_gives_the_page_its_source_and_no_inline_script(manager: Person) -> None:
    page = rendered(manager.actor)
    for named in ('data-url="http://localhost:', 'data-seq="0"', 'data-since-url="/live/since/0/"'):
        assert named in page
    assert '<script type="module" src="/static/live.js"></script>' in page


def test_strangers_get_no_source() -> None:
    assert rendered(None).strip() == ""
