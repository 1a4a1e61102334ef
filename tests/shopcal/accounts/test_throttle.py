"""Too many wrong passwords."""

from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client, RequestFactory

from shopcal.accounts.throttle import address_behind_proxy

pytestmark = pytest.mark.django_db
NOON = datetime.fromisoformat("2026-03-02T12:00:00+00:00")
PASSWORD = "chalk-and-tape-19"


@pytest.fixture
def email(service_writer) -> str:
    service_writer.user.set_password(PASSWORD)
    service_writer.user.save()
    return service_writer.user.email


def attempt(email: str, password: str = "wrong", *, address: str = "10.0.0.7", **headers):
    return Client(REMOTE_ADDR=address).post(
        "/sign-in", {"username": email, "password": password}, **headers
    )


def lock(email: str) -> None:
    for _ in range(4):
        assert attempt(email).status_code == 422
    assert attempt(email).status_code == 429


def test_the_fifth_wrong_password_locks_and_says_when_to_try_again(email: str) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        lock(email)
        clock.shift(timedelta(minutes=3))
        answer = attempt(email, PASSWORD)
    assert answer.status_code == 429
    assert answer["Retry-After"] == "420"
    assert b"Try again in 7 minutes." in answer.content


def test_attempts_while_locked_do_not_lengthen_the_lock(email: str) -> None:
    with time_machine.travel(NOON, tick=False) as clock:
        lock(email)
        clock.shift(timedelta(minutes=9))
        assert attempt(email, PASSWORD)["Retry-After"] == "60"
        clock.shift(timedelta(minutes=1, seconds=1))
        assert attempt(email, PASSWORD).status_code == 302


def test_capitals_give_no_further_attempts(email: str) -> None:
    for spelling in (email, email.upper(), email.title(), f" {email}"):
        attempt(spelling)
    assert attempt(email).status_code == 429


def test_a_colleague_at_the_same_address_is_not_locked_out(email: str, technician) -> None:
    technician.user.set_password(PASSWORD)
    technician.user.save()
    lock(email)
    assert attempt(technician.user.email, PASSWORD).status_code == 302


def test_the_person_at_another_address_is_not_locked_out(email: str) -> None:
    lock(email)
    assert attempt(email, PASSWORD, address="10.0.0.8").status_code == 302


def test_signing_in_forgets_earlier_mistakes(email: str) -> None:
    for _ in range(4):
        attempt(email)
    assert attempt(email, PASSWORD).status_code == 302
    assert attempt(email).status_code == 422


def test_a_program_is_told_in_problem_details(email: str) -> None:
    with time_machine.travel(NOON, tick=False):
        lock(email)
        answer = attempt(email, HTTP_ACCEPT="application/json")
    assert answer.status_code == 429
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["code"] == "too_many_attempts"
    assert problem["retry_at"] == "2026-03-02T12:10:00+00:00"


def test_only_the_last_address_in_the_forwarded_header_is_believed() -> None:
    request = RequestFactory().get(
        "/", headers={"x-forwarded-for": "1.2.3.4, 198.51.100.9"}, REMOTE_ADDR="127.0.0.1"
    )
    assert address_behind_proxy(request) == "198.51.100.9"
    assert address_behind_proxy(RequestFactory().get("/", REMOTE_ADDR="10.1.1.1")) == "10.1.1.1"
