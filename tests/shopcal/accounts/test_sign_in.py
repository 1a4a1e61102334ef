"""Signing in and out, and choosing a shop."""

import pytest
from django.test import Client

from shopcal.accounts.models import Membership, Role

pytestmark = pytest.mark.django_db
PASSWORD = "chalk-and-tape-19"


@pytest.fixture
def writer(service_writer):
    service_writer.user.set_password(PASSWORD)
    service_writer.user.save()
    return service_writer


def sign_in(email: str, password: str, *, query: str = "", client: Client | None = None, **more):
    client = client or Client()
    return client.post(f"/sign-in{query}", {"username": email, "password": password, **more})


def test_right_password_leads_to_the_page_asked_for(writer) -> None:
    answer = sign_in(writer.user.email, PASSWORD, query="?next=/account/tokens")
    assert (answer.status_code, answer["Location"]) == (302, "/account/tokens")


def test_capitals_in_the_address_do_not_matter(writer) -> None:
    assert sign_in(writer.user.email.upper(), PASSWORD).status_code == 302


@pytest.mark.parametrize(
    "elsewhere", ["https://evil.example/", "//evil.example", "javascript:alert(1)"]
)
def test_sign_in_never_leads_to_another_site(writer, elsewhere: str) -> None:
    answer = sign_in(writer.user.email, PASSWORD, next=elsewhere)
    assert (answer.status_code, answer["Location"]) == (302, "/")


@pytest.mark.parametrize(
    "email", ["sela.wren.fennhollow.service_writer@example.test", "nobody@example.test"]
)
def test_wrong_password_and_unknown_address_get_the_same_words(writer, email: str) -> None:
    answer = sign_in(email, "wrong")
    assert answer.status_code == 422
    assert b"This address and this password do not go together." in answer.content
    assert "_auth_user_id" not in answer.client.session


def test_closed_account_cannot_sign_in(writer) -> None:
    writer.user.is_active = False
    writer.user.save()
    assert sign_in(writer.user.email, PASSWORD).status_code == 422


def test_signing_out_by_a_link_is_refused(client_for, service_writer) -> None:
    browser = client_for(service_writer)
    assert browser.get("/sign-out").status_code == 405
    assert browser.get("/account/tokens").status_code == 200


def test_signed_out_browser_is_a_stranger_again(client_for, service_writer) -> None:
    browser = client_for(service_writer)
    assert browser.post("/sign-out")["Location"] == "/sign-in"
    answer = browser.get("/account/tokens")
    assert answer["Location"] == "/sign-in?next=%2Faccount%2Ftokens"


def test_a_form_without_the_csrf_token_is_refused_in_words(writer) -> None:
    strict = Client(enforce_csrf_checks=True)
    answer = sign_in(writer.user.email, PASSWORD, client=strict)
    assert answer.status_code == 403
    assert b"nothing was saved" in answer.content


def test_the_only_shop_needs_no_choosing(writer) -> None:
    browser = Client()
    sign_in(writer.user.email, PASSWORD, client=browser)
    answer = browser.get("/account/tokens")
    assert answer.status_code == 200
    assert b"Fennhollow Sensor Works" in answer.content


def test_a_person_of_two_shops_is_asked_which_and_comes_back(writer, other_shop) -> None:
    second = Membership.objects.create(user=writer.user, shop=other_shop, role=Role.MANAGER)
    browser = Client()
    sign_in(writer.user.email, PASSWORD, client=browser)
    asked = browser.get("/account/tokens")
    assert asked["Location"] == "/choose-shop?next=%2Faccount%2Ftokens"
    assert b"Oxbridge Glass" in browser.get(asked["Location"]).content
    chosen = browser.post("/choose-shop", {"membership": second.pk, "next": "/account/tokens"})
    assert chosen["Location"] == "/account/tokens"
    assert b"in Oxbridge Glass" in browser.get("/account/tokens").content


def test_nobody_can_choose_a_shop_they_do_not_belong_to(
    client_for, service_writer, other_manager
) -> None:
    browser = client_for(service_writer)
    answer = browser.post("/choose-shop", {"membership": other_manager.membership.pk})
    assert answer.status_code == 422
    assert browser.session["membership"] == service_writer.membership.pk


def test_choosing_leads_nowhere_outside_this_site(client_for, service_writer) -> None:
    answer = client_for(service_writer).post(
        "/choose-shop", {"membership": service_writer.membership.pk, "next": "//evil.example/x"}
    )
    assert answer["Location"] == "/"


def test_one_who_left_the_shop_is_out_at_the_next_request(client_for, service_writer) -> None:
    browser = client_for(service_writer)
    assert browser.get("/account/tokens").status_code == 200
    Membership.objects.filter(pk=service_writer.membership.pk).update(active=False)
    answer = browser.get("/account/tokens")
    assert answer["Location"].startswith("/choose-shop")
    assert b"You do not belong to a shop yet" in browser.get("/choose-shop").content


def test_strangers_cannot_choose_a_shop() -> None:
    assert Client().get("/choose-shop")["Location"].startswith("/sign-in")


@pytest.mark.parametrize("header", ["Content-Security-Policy", "X-Request-ID", "X-Frame-Options"])
def test_every_page_carries_the_protecting_headers(header: str) -> None:
    assert Client().get("/sign-in")[header]


def test_policy_lets_no_inline_script_or_style_run() -> None:
    policy = Client().get("/sign-in")["Content-Security-Policy"]
    directives = {part.strip() for part in policy.split(";")}
    assert {"script-src 'self'", "style-src 'self'"} <= directives
    assert "unsafe" not in policy
