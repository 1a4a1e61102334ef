from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
import yaml
from django.db import transaction
from django.test import Client
from pytest_django import DjangoDbBlocker

from bays.services.transfer import import_shop
from jobs.demo.surveys import floor_surveys, light_surveys
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from tests.conftest import Person

DEMO = Path(__file__).parents[3] / "jobs" / "demo" / "shop.yaml"
NOW = datetime(2026, 10, 6, 8, 15, tzinfo=ZoneInfo("America/Denver"))


@pytest.fixture(autouse=True)
def _a_tuesday_morning() -> object:
    with time_machine.travel(NOW, tick=False):
        yield


def demo_shop() -> dict[str, Any]:
    """The demonstration shop with its surveys, as a document."""
    document: dict[str, Any] = yaml.safe_load(DEMO.read_text())
    document["floor_surveys"], document["light_surveys"] = floor_surveys(), light_surveys()
    return document


@pytest.fixture(scope="module")
def furnished_once(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[int]:
    """Made once a module and rolled back after it; each test is a savepoint inside."""
    with (
        django_db_blocker.unblock(),
        time_machine.travel(NOW, tick=False),
        transaction.atomic(),
    ):
        made = Shop.objects.create(
            slug="furnished", name="Fennhollow Sensor Works", time_zone="America/Chicago"
        )
        import_shop(by=Actor.system(made.pk), document=demo_shop())
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
def furnished(furnished_once: int, shop: Shop) -> Shop:
    return shop


@pytest.fixture
def at_desk(client_for: Callable[[Person], Client], service_writer: Person) -> Client:
    return client_for(service_writer)


@pytest.fixture
def at_vehicle(client_for: Callable[[Person], Client], technician: Person) -> Client:
    return client_for(technician)


@pytest.fixture
def in_charge(client_for: Callable[[Person], Client], manager: Person) -> Client:
    return client_for(manager)
