"""Requests with one key at the same moment, on real connections of both databases."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, connections
from django.test import Client

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership, Role, Shop, User
from shopcal.accounts.services.tokens import create_token
from tests.shopcal.api.refusal import problem_in
from tests.shopcal.api.rows import Gate
from tests.shopcal.api.test_idempotency import people, send

on_postgresql = pytest.mark.skipif(
    "connection.vendor != 'postgresql'", reason="for the service's database"
)
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="for the built-in database")


@pytest.fixture
def sqlite_file(tmp_path: Path, django_db_blocker: Any) -> Iterator[None]:
    """A database in a file: the tests' usual one in memory locks otherwise than the service's."""
    settings = connections.settings["default"]
    usual_name, usual = settings["NAME"], connections["default"]
    with django_db_blocker.unblock():
        settings["NAME"] = str(tmp_path / "race.sqlite3")
        del connections["default"]
        call_command("migrate", verbosity=0)
        yield
        connections["default"].close()
        settings["NAME"] = usual_name
        connections["default"] = usual


def token_of_a_manager() -> str:
    shop = Shop.objects.create(slug="fennhollow", name="Fennhollow Sensor Works")
    user = User.objects.create_user("maud@example.test", "Maud Ellery")
    member = Membership.objects.create(user=user, shop=shop, role=Role.MANAGER)
    return create_token(name="race", by=Actor.of(member)).text


def in_a_thread(work: Callable[[], Any]) -> Callable[[], Any]:
    def run() -> Any:
        try:
            return work()
        finally:
            connections.close_all()

    return run


def send_at_once(count: int, token: str) -> list[Any]:
    start = threading.Barrier(count)

    def work() -> Any:
        caller = Client(headers={"Authorization": f"Bearer {token}"})
        start.wait(10)
        while True:
            response = send(caller, people("Ada"))
            if response.status_code not in (409, 503):
                return response
            # Told to wait, as any client would be.
            assert int(response["Retry-After"]) > 0
            time.sleep(0.02)

    with ThreadPoolExecutor(count) as pool:
        futures = [pool.submit(in_a_thread(work)) for _ in range(count)]
        return [future.result(30) for future in futures]


def check_one_effect(token: str) -> None:
    responses = send_at_once(6, token)
    assert {response.status_code for response in responses} == {201}
    assert len({response.content for response in responses}) == 1
    assert sum("Idempotency-Replayed" in response for response in responses) == 5
    assert User.objects.filter(name="Ada").count() == 1


def begin_and_hold(pool: ThreadPoolExecutor, token: str) -> Any:
    """A request that has done its work and has not committed."""
    Gate.close()
    caller = Client(headers={"Authorization": f"Bearer {token}"})
    first = pool.submit(in_a_thread(lambda: send(caller, people("Ada"))))
    assert Gate.reached.wait(10)
    Gate.closed = False
    return first


@on_sqlite
@pytest.mark.slow
def test_requests_at_the_same_moment_have_one_effect(sqlite_file):
    check_one_effect(token_of_a_manager())


@on_sqlite
@pytest.mark.slow
def test_second_request_waits_for_the_first_and_gets_its_answer(sqlite_file):
    token = token_of_a_manager()
    caller = Client(headers={"Authorization": f"Bearer {token}"})
    with ThreadPoolExecutor(2) as pool:
        first = begin_and_hold(pool, token)
        second = pool.submit(in_a_thread(lambda: send(caller, people("Ada"))))
        time.sleep(0.2)
        assert not second.done()
        Gate.open()
        assert first.result(10).status_code == 201
        assert second.result(10)["Idempotency-Replayed"] == "true"
    assert User.objects.filter(name="Ada").count() == 1


@on_postgresql
@pytest.mark.service
@pytest.mark.django_db(transaction=True)
def test_requests_at_the_same_moment_have_one_effect_in_the_service():
    check_one_effect(token_of_a_manager())


@on_postgresql
@pytest.mark.service
@pytest.mark.django_db(transaction=True)
def test_second_request_is_told_that_the_first_is_at_work():
    token = token_of_a_manager()
    caller = Client(headers={"Authorization": f"Bearer {token}"})
    with ThreadPoolExecutor(1) as pool:
        first = begin_and_hold(pool, token)
        refused = send(caller, people("Ada"))
        problem_in(refused, 409, "idempotency_key_in_use")
        assert refused["Retry-After"] == "1"
        other = send(caller, people("Bea"), "another-key")
        assert other.status_code == 201
        Gate.open()
        assert first.result(10).status_code == 201
    assert send(caller, people("Ada"))["Idempotency-Replayed"] == "true"
    assert User.objects.filter(name="Ada").count() == 1
    assert connection.vendor == "postgresql"
