"""The page of a new plan that waits: before and after, ticks, and who may decide."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from jobs.models import Proposal, Step, Visit
from jobs.services.replans import runs_long
from jobs.services.steps import start_step
from jobs.services.visits import check_in
from shopcal.accounts.actor import Actor
from tests.conftest import Person
from tests.jobs.pages import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def waiting(service_writer: Person, office: Client) -> Proposal:
    by = service_writer.actor
    visit = cast.book(by)
    cast.book(by, serial=2)
    check_in(by=by, visit=visit)
    step = start_step(by=by, step=Step.objects.filter(visit=visit).order_by("order")[0])
    change = runs_long(
        by=Actor.system(by.shop_id), step=step, ends_at=timezone.now() + timedelta(hours=7)
    )
    assert change.waits
    return Proposal.objects.get(pk=change.proposal_id)


def test_the_board_says_that_a_plan_waits(office: Client, waiting: Proposal) -> None:
    page = office.get("/").content.decode()
    assert "A new plan waits for you" in page
    assert f"/day/proposals/{waiting.pk}/" in page


def test_the_page_shows_before_and_after_in_words_and_bars(
    office: Client, waiting: Proposal
) -> None:
    page = office.get(f"/day/proposals/{waiting.pk}/").content.decode()
    assert waiting.changes[0] in page
    assert "would move" in page
    assert "before and after" in page
    assert 'class="after moved"' in page
    assert "has to move" in page


def test_ticks_show_what_goes_with_them(office: Client, waiting: Proposal) -> None:
    answer = office.get(f"/day/proposals/{waiting.pk}/goes-with/")
    assert answer.status_code == 200
    assert "has to move" in answer.content.decode()


def test_accepted_whole_the_board_tells_what_changed(office: Client, waiting: Proposal) -> None:
    answer = office.post(f"/day/proposals/{waiting.pk}/accept/", {"what": "whole"})
    assert answer.status_code == 302
    assert "What changed" in office.get("/").content.decode()
    again = office.post(f"/day/proposals/{waiting.pk}/accept/", {"what": "whole"})
    assert again.status_code == 409
    assert "already" in again.content.decode()


def test_left_the_plan_stays(office: Client, waiting: Proposal) -> None:
    assert office.post(f"/day/proposals/{waiting.pk}/decline/").status_code == 302
    assert "The plan stays as it was" in office.get("/").content.decode()


def test_out_of_date_it_says_so_and_offers_a_new_plan(office: Client, waiting: Proposal) -> None:
    Step.objects.filter(state="planned").update(version=9)
    page = office.get(f"/day/proposals/{waiting.pk}/").content.decode()
    assert "out of date" in page
    assert "Plan again" in page
    answer = office.post(f"/day/proposals/{waiting.pk}/accept/", {"what": "part"})
    assert answer.status_code == 412


def test_strangers_technicians_and_other_shops_decide_nothing(
    client: Client,
    fitter: Client,
    waiting: Proposal,
    other_manager: Person,
    client_for: Callable[[Person], Client],
) -> None:
    url = f"/day/proposals/{waiting.pk}/"
    assert client.get(url).status_code == 302
    assert fitter.get(url).status_code == 403
    assert fitter.post(f"{url}accept/").status_code == 403
    assert client_for(other_manager).get(url).status_code == 404
    assert client_for(other_manager).post(f"{url}accept/").status_code == 404
    waiting.refresh_from_db()
    assert waiting.state == "open"


def test_looking_does_not_decide(office: Client, waiting: Proposal) -> None:
    assert office.get(f"/day/proposals/{waiting.pk}/accept/").status_code == 405
    assert Visit.objects.exists()
