"""Pages let only members in, and only those whose role allows it."""

import pytest
from django.http import HttpResponse
from django.test import Client, override_settings
from django.urls import include, path

from shopcal.accounts.pages import allowed, member_required
from shopcal.accounts.permissions import Action
from shopcal.errors import Conflict, FieldError


@member_required
def anyone(request) -> HttpResponse:
    return HttpResponse(f"{request.actor.name} in {request.actor.shop_id}")


@allowed(Action.EDIT_HOURS)
def hours(request) -> HttpResponse:
    return HttpResponse("hours")


@member_required
def clash(request) -> HttpResponse:
    raise Conflict(
        "bay_taken",
        "Bay 1 is taken until 11:15.",
        detail="Choose a later time.",
        errors=[FieldError("starts_at", "Too early.", "11:15 or later")],
    )


urlpatterns = [
    path("anyone", anyone),
    path("hours", hours),
    path("clash", clash),
    path("", include("shopcal.urls")),
]
pytestmark = [pytest.mark.django_db, pytest.mark.urls(__name__)]
HTMX = {"hx-request": "true", "hx-current-url": "http://testserver/day?on=2026-03-02"}


def test_stranger_is_sent_to_sign_in_and_back() -> None:
    answer = Client().get("/anyone?tab=2")
    assert answer["Location"] == "/sign-in?next=%2Fanyone%3Ftab%3D2"


def test_stranger_fetching_a_part_moves_the_whole_page_back_to_itself() -> None:
    answer = Client().get("/anyone", headers=HTMX)
    assert answer.status_code == 200
    assert answer["HX-Redirect"] == "/sign-in?next=%2Fday%3Fon%3D2026-03-02"
    assert answer.content == b""


def test_member_comes_in_as_themselves(client_for, technician) -> None:
    answer = client_for(technician).get("/anyone")
    assert answer.content.decode() == f"Tobin Ashgrove in {technician.shop_id}"


def test_wrong_role_gets_403_in_words(client_for, technician) -> None:
    answer = client_for(technician).get("/hours")
    assert answer.status_code == 403
    assert b"A technician may not change opening hours." in answer.content
    assert b"<html" in answer.content


def test_wrong_role_fetching_a_part_gets_the_words_alone(client_for, technician) -> None:
    answer = client_for(technician).get("/hours", headers=HTMX)
    assert answer.status_code == 403
    assert b"A technician may not change opening hours." in answer.content
    assert b"<html" not in answer.content


def test_right_role_comes_in(client_for, manager) -> None:
    assert client_for(manager).get("/hours").content == b"hours"


def test_manager_of_another_shop_acts_only_there(client_for, other_manager) -> None:
    assert (
        client_for(other_manager)
        .get("/anyone")
        .content.decode()
        .endswith(f" in {other_manager.shop_id}")
    )


def test_a_session_naming_another_persons_membership_opens_nothing(
    client_for, technician, other_manager
) -> None:
    browser = client_for(technician)
    session = browser.session
    session["membership"] = other_manager.membership.pk
    session.save()
    assert browser.get("/hours").status_code == 403
    assert browser.get("/anyone").content.decode() == f"Tobin Ashgrove in {technician.shop_id}"


def test_a_refusal_answers_with_its_own_status_and_words(client_for, manager) -> None:
    answer = client_for(manager).get("/clash")
    assert answer.status_code == 409
    for words in ("Bay 1 is taken until 11:15.", "Choose a later time.", "11:15 or later"):
        assert words in answer.content.decode()


@override_settings(DEBUG=False)
def test_unknown_page_is_said_in_plain_words(client_for, manager) -> None:
    answer = client_for(manager).get("/no-such-page")
    assert answer.status_code == 404
    assert b"There is no such page" in answer.content
