"""One furnished world for each module: making it takes longer than most tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.cache import cache

from tests.jobs.api.world import World, furnished


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    with furnished(django_db_blocker) as made:
        yield made


@pytest.fixture(autouse=True)
def _fresh_allowance() -> None:
    cache.clear()
