"""The page of one's own API tokens."""

import re

import pytest
from django.test import Client

from shopcal.accounts.models import ApiToken
from shopcal.accounts.services.tokens import create_token, membership_for_token

pytestmark = pytest.mark.django_db


def test_stranger_sees_no_tokens() -> None:
    assert Client().get("/account/tokens").status_code == 302
    assert Client().post("/account/tokens", {"name": "x"}).status_code == 302
    assert not ApiToken.objects.exists()


@pytest.mark.parametrize("who", ["manager", "technician", "service_writer"])
def test_every_member_can_make_a_token_and_sees_it_once(request, client_for, who: str) -> None:
    person = request.getfixturevalue(who)
    browser = client_for(person)
    made = browser.post("/account/tokens", {"name": "parts system", "days": "30"})
    assert made.status_code == 201
    assert "no-store" in made["Cache-Control"]
    text = re.search(r'value="(shopcal_[^"]+)"', made.content.decode()).group(1)
    assert membership_for_token(text) == person.membership
    again = browser.get("/account/tokens").content.decode()
    assert text not in again
    assert "parts system" in again


def test_a_token_without_a_name_is_refused_beside_the_field(client_for, technician) -> None:
    answer = client_for(technician).post("/account/tokens", {"name": " ", "days": ""})
    assert answer.status_code == 422
    assert b"1 to 80 characters" in answer.content
    assert not ApiToken.objects.exists()


def test_a_lifetime_not_offered_counts_as_the_shortest(client_for, technician) -> None:
    client_for(technician).post("/account/tokens", {"name": "odd", "days": "99999"})
    token = ApiToken.objects.get()
    assert (token.expires_at - token.created_at).days in (29, 30)


def test_revoking_ends_the_token(client_for, technician) -> None:
    new = create_token(name="old", by=technician.actor)
    answer = client_for(technician).post(f"/account/tokens/{new.token.pk}/revoke")
    assert answer["Location"] == "/account/tokens"
    assert membership_for_token(new.text) is None


def test_revoking_by_a_link_is_refused(client_for, technician) -> None:
    new = create_token(name="old", by=technician.actor)
    assert client_for(technician).get(f"/account/tokens/{new.token.pk}/revoke").status_code == 405
    assert membership_for_token(new.text) is not None


@pytest.mark.parametrize("who", ["manager", "other_manager"])
def test_anothers_token_is_neither_seen_nor_revoked(request, client_for, technician, who) -> None:
    new = create_token(name="private name", by=technician.actor)
    browser = client_for(request.getfixturevalue(who))
    assert b"private name" not in browser.get("/account/tokens").content
    assert browser.post(f"/account/tokens/{new.token.pk}/revoke").status_code == 404
    assert membership_for_token(new.text) is not None


def test_a_missing_token_is_not_found(client_for, technician) -> None:
    assert client_for(technician).post("/account/tokens/999999/revoke").status_code == 404
