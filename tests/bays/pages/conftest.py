from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
import yaml
from django.test import Client

from bays.services.transfer import import_shop
from jobs.demo.surveys import floor_surveys, light_surveys
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


@pytest.fixture
def furnished(shop: Shop, manager: Person) -> Shop:
    import_shop(by=manager.actor, document=demo_shop())
    shop.refresh_from_db()
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
