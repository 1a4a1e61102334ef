"""Answers worked out by one test are unknown to the next."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from bays.services.answers import forget_answers


@pytest.fixture(autouse=True)
def _nothing_known_yet() -> Iterator[None]:
    forget_answers()
    yield
    forget_answers()
