"""Who is let in: strangers, tokens, sessions, roles, and the rows of other shops."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from shopcal.accounts.models import ApiToken, Membership
from shopcal.accounts.services.tokens import create_token, revoke_token
from tests.shopcal.api.refusal import problem_in

ME = "/api/v1/me/"


def test_stranger_is_told_to_sign_in_or_send_a_token(stranger, db):
    response = stranger.get(ME)
    problem_in(response, 401, "not_signed_in")
    assert response["WWW-Authenticate"] == 'Bearer realm="shopcal"'


def test_token_acts_as_its_member(as_technician, technician, shop):
    me = as_technician.get(ME).json()
    assert me["name"] == technician.user.name
    assert me["role"] == "technician"
    assert me["shop"] == {
        "id": shop.pk,
        "slug": "fennhollow",
        "name": "Fennhollow Sensor Works",
        "time_zone": "America/Chicago",
        "units": "metric",
    }
    assert "record_reading" in me["may"]
    assert "edit_shop" not in me["may"]


@pytest.mark.parametrize("header", ["Bearer nonsense", "Bearer", "Bearer a b", "Bearer shopcal_ä"])
def test_unusable_token_is_refused(header, db):
    response = Client(headers={"Authorization": header}).get(ME)
    problem_in(response, 401, "token_refused")


def test_revoked_expired_and_departed_tokens_are_refused(manager):
    made = create_token(name="one", by=manager.actor)
    caller = Client(headers={"Authorization": f"Bearer {made.text}"})
    assert caller.get(ME).status_code == 200

    ApiToken.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    problem_in(caller.get(ME), 401, "token_refused")
    ApiToken.objects.update(expires_at=None)

    Membership.objects.filter(pk=manager.membership.pk).update(active=False)
    problem_in(caller.get(ME), 401, "token_refused")
    Membership.objects.filter(pk=manager.membership.pk).update(active=True)
    assert caller.get(ME).status_code == 200

    revoke_token(token_id=made.token.pk, by=manager.actor)
    problem_in(caller.get(ME), 401, "token_refused")


def test_signed_in_person_reads_by_session(client_for, technician):
    assert client_for(technician).get(ME).json()["name"] == technician.user.name


def test_session_needs_the_csrf_token_to_change_anything(client_for, manager):
    browser = client_for(manager)
    browser.handler.enforce_csrf_checks = True
    address = "/api/v1/tokens/"
    given = {"name": "from a page"}
    problem_in(browser.post(address, given, content_type="application/json"), 403, "csrf")
    browser.cookies["shopcal_csrf"] = secret = "a" * 32
    response = browser.post(
        address, given, content_type="application/json", headers={"X-CSRFToken": secret}
    )
    assert response.status_code == 201


def test_wrong_token_is_not_made_good_by_a_session(client_for, manager):
    response = client_for(manager).get(ME, headers={"Authorization": "Bearer nonsense"})
    problem_in(response, 401, "token_refused")


def test_other_kind_of_credentials_is_not_made_good_by_a_session(client_for, manager):
    response = client_for(manager).get(ME, headers={"Authorization": "Basic bWU6bWU="})
    problem_in(response, 401, "not_signed_in")


def test_person_without_a_shop_is_told_so(client_for, manager):
    browser = client_for(manager)
    Membership.objects.update(active=False)
    problem_in(browser.get(ME), 403, "no_shop")


def test_wrong_role_is_told_which_roles_may(as_technician, shop):
    response = as_technician.patch(
        f"/api/v1/shops/{shop.pk}/",
        {"name": "Mine"},
        content_type="application/json",
        headers={"If-Match": '"v1"'},
    )
    problem = problem_in(response, 403, "not_allowed")
    assert problem["facts"]["roles"] == ["manager"]
    shop.refresh_from_db()
    assert shop.name == "Fennhollow Sensor Works"


def test_handler_that_declares_no_action_is_refused_to_everybody(as_manager, shop):
    problem_in(as_manager.get("/api/v1/undeclared/"), 403, "not_allowed")
    problem_in(as_manager.post(f"/api/v1/shops/{shop.pk}/forgotten/"), 403, "not_allowed")


def test_wrong_method_names_the_right_ones(as_manager, shop):
    response = as_manager.put(f"/api/v1/shops/{shop.pk}/")
    problem_in(response, 405, "wrong_method")
    assert set(response["Allow"].split(", ")) >= {"GET", "PATCH"}


def test_wrong_method_is_401_for_a_stranger(stranger, db):
    problem_in(stranger.put("/api/v1/tokens/"), 401, "not_signed_in")


@pytest.mark.parametrize("number", ["0", "999999", "9" * 18, "9" * 19, "9" * 5000])
def test_missing_row_is_not_found(as_manager, number):
    problem_in(as_manager.get(f"/api/v1/shops/{number}/"), 404, "missing")


def test_row_of_another_shop_is_as_if_it_were_not_there(as_manager, other_shop, other_manager):
    theirs = as_manager.get(f"/api/v1/members/{other_manager.membership.pk}/").json()
    nobodys = as_manager.get("/api/v1/members/999999/").json()
    assert {**theirs, "instance": ""} == {**nobodys, "instance": ""}
    response = as_manager.patch(
        f"/api/v1/shops/{other_shop.pk}/",
        {"name": "Mine"},
        content_type="application/json",
        headers={"If-Match": "*"},
    )
    problem_in(response, 404, "missing")
    other_shop.refresh_from_db()
    assert other_shop.name == "Oxbridge Glass & Sensor"


def test_list_shows_only_rows_of_the_own_shop(as_manager, manager, technician, other_manager):
    rows = as_manager.get("/api/v1/members/").json()["results"]
    assert {row["id"] for row in rows} == {manager.membership.pk, technician.membership.pk}


@pytest.mark.parametrize("address", ["/api/v1/nothing/", "/api/v1/me", "/api/v2/", "/api/"])
def test_address_that_there_is_not_answers_with_a_problem(stranger, address, db):
    problem_in(stranger.get(address), 404, "missing")
    problem_in(stranger.post(address), 404, "missing")


def test_each_token_has_its_own_allowance(manager, as_manager, caller_for, monkeypatch):
    monkeypatch.setattr(
        "shopcal.api.throttling.CallerThrottle.THROTTLE_RATES",
        {"caller": "2/min", "stranger": "1/min"},
    )
    assert [as_manager.get(ME).status_code for _ in range(3)] == [200, 200, 429]
    refused = as_manager.get(ME)
    problem_in(refused, 429, "too_many_requests")
    assert 0 < int(refused["Retry-After"]) <= 60
    assert caller_for(manager).get(ME).status_code == 200
