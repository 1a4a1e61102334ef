"""The demo shop on a Tuesday morning in March."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
import time_machine
from django.test import Client

from shopcal.accounts.models import Shop
from tests.conftest import Person
from tests.jobs.pages import cast

# 08:30 in Chicago, where the shop of the tests is.
MORNING = datetime(2026, 3, 3, 14, 30, tzinfo=UTC)
Clock = time_machine.Traveller


@pytest.fixture
def clock() -> Iterator[Clock]:
    with time_machine.travel(MORNING, tick=False) as traveller:
        yield traveller


@pytest.fixture
def furnished(clock: Clock, shop: Shop) -> Shop:
    cast.furnish(shop)
    return shop


@pytest.fixture
def office(
    furnished: Shop, service_writer: Person, client_for: Callable[[Person], Client]
) -> Client:
    return client_for(service_writer)


@pytest.fixture
def boss(furnished: Shop, manager: Person, client_for: Callable[[Person], Client]) -> Client:
    return client_for(manager)


@pytest.fixture
def fitter(furnished: Shop, technician: Person, client_for: Callable[[Person], Client]) -> Client:
    return client_for(technician)
