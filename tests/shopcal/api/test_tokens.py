"""Making, listing and revoking one's own tokens."""

from __future__ import annotations

import pytest
from django.test import Client

from shopcal.accounts.models import ApiToken
from shopcal.accounts.services.tokens import create_token, digest_of
from tests.shopcal.api.refusal import problem_in

ADDRESS = "/api/v1/tokens/"


def make(caller, **given):
    return caller.post(ADDRESS, given, content_type="application/json")


@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_stranger_has_no_tokens(stranger, method, db):
    problem_in(getattr(stranger, method)(ADDRESS), 401, "not_signed_in")


def test_token_is_shown_once_and_then_opens_the_api(as_technician, technician):
    made = make(as_technician, name="bay tablet")
    assert made.status_code == 201
    text = made.json()["token"]
    caller = Client(headers={"Authorization": f"Bearer {text}"})
    assert caller.get("/api/v1/me/").json()["membership_id"] == technician.membership.pk
    assert "token" not in as_technician.get(made["Location"]).json()
    assert ApiToken.objects.get(name="bay tablet").digest == digest_of(text)
    assert text not in as_technician.get(ADDRESS).text


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ({}, "name"),
        ({"name": ""}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"name": "late", "expires_at": "2020-01-01T00:00:00Z"}, "expires_at"),
        ({"name": "odd", "expires_at": "tomorrow"}, "expires_at"),
    ],
)
def test_wrong_content_makes_no_token(as_technician, given, path):
    before = ApiToken.objects.count()
    response = make(as_technician, **given)
    assert response.status_code == 422
    assert [error["path"] for error in response.json()["errors"]] == [path]
    assert ApiToken.objects.count() == before


def test_list_has_only_ones_own(as_technician, technician, manager, other_manager):
    mine = create_token(name="mine", by=technician.actor).token
    create_token(name="hers", by=manager.actor)
    create_token(name="theirs", by=other_manager.actor)
    names = [row["name"] for row in as_technician.get(ADDRESS).json()["results"]]
    assert names == [mine.name, "test"]


def test_revoked_token_is_listed_as_not_live_and_opens_nothing(as_technician, technician):
    made = create_token(name="lost phone", by=technician.actor)
    address = f"{ADDRESS}{made.token.pk}/"
    assert as_technician.delete(address).status_code == 204
    assert as_technician.delete(address).status_code == 204
    row = as_technician.get(address).json()
    assert row["live"] is False
    assert row["revoked_at"].endswith("Z")
    caller = Client(headers={"Authorization": f"Bearer {made.text}"})
    problem_in(caller.get("/api/v1/me/"), 401, "token_refused")


def test_token_of_somebody_else_cannot_be_seen_or_revoked(as_technician, manager, other_manager):
    for owner in (manager, other_manager):
        token = create_token(name="not yours", by=owner.actor).token
        address = f"{ADDRESS}{token.pk}/"
        problem_in(as_technician.get(address), 404, "missing")
        problem_in(as_technician.delete(address), 404, "missing")
        token.refresh_from_db()
        assert token.revoked_at is None


def test_missing_token_is_not_found(as_technician):
    problem_in(as_technician.delete(f"{ADDRESS}999999/"), 404, "missing")


def test_token_is_not_edited(as_technician, technician):
    token = create_token(name="fixed", by=technician.actor).token
    response = as_technician.patch(f"{ADDRESS}{token.pk}/", {}, content_type="application/json")
    problem_in(response, 405, "wrong_method")
