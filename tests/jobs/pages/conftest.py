"""The demo shop on a Tuesday morning in March."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
import time_machine
from django.db import transaction
from django.test import Client
from pytest_django import DjangoDbBlocker

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


@pytest.fixture(scope="module")
def furnished_once(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[int]:
    """Made once a module and rolled back after it; each test is a savepoint inside."""
    with (
        django_db_blocker.unblock(),
        time_machine.travel(MORNING, tick=False),
        transaction.atomic(),
    ):
        made = Shop.objects.create(
            slug="furnished", name="Fennhollow Sensor Works", time_zone="America/Chicago"
        )
        cast.furnish(made)
        yield made.pk
        transaction.set_rollback(True)


@pytest.fixture
def shop(request: pytest.FixtureRequest, db: None) -> Shop:
    """The furnished shop for a test that asks for it, or an empty one."""
    if "furnished_once" in request.fixturenames:
        return Shop.objects.get(pk=request.getfixturevalue("furnished_once"))
    return Shop.objects.create(
        slug="fennhollow", name="Fennhollow Sensor Works", time_zone="America/Chicago"
    )


@pytest.fixture
def furnished(furnished_once: int, clock: Clock, shop: Shop) -> Shop:
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
