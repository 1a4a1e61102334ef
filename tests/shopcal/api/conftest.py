"""Callers of the API: programs with a token, and people in a browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.test import Client

from shopcal.accounts.services.tokens import create_token
from tests.conftest import Person

MakeCaller = Callable[[Person], Client]


@pytest.fixture(autouse=True)
def _own_routes(settings: Any) -> None:
    settings.ROOT_URLCONF = "tests.shopcal.api.urls"


@pytest.fixture(autouse=True)
def _fresh_allowance() -> None:
    cache.clear()


@pytest.fixture
def caller_for() -> MakeCaller:
    """A program that sends the person's token."""

    def make(person: Person) -> Client:
        token = create_token(name="test", by=person.actor)
        return Client(headers={"Authorization": f"Bearer {token.text}"})

    return make


@pytest.fixture
def stranger() -> Client:
    return Client()


@pytest.fixture
def as_manager(caller_for: MakeCaller, manager: Person) -> Client:
    return caller_for(manager)


@pytest.fixture
def as_technician(caller_for: MakeCaller, technician: Person) -> Client:
    return caller_for(technician)
