"""The mark by which a second back end is spared what it cannot change."""

from __future__ import annotations

from pathlib import Path

import pytest
from django.test import SimpleTestCase, TestCase
from hypothesis.extra.django import TestCase as GeneratingTestCase

from shopcal.accounts.models import User
from tests.conftest import Person


def marked(request: pytest.FixtureRequest) -> bool:
    return request.node.get_closest_marker("database") is not None


def test_arithmetic_is_not_marked(request: pytest.FixtureRequest, tmp_path: Path) -> None:
    assert not marked(request)


@pytest.mark.django_db
def test_the_mark_of_django_counts(request: pytest.FixtureRequest) -> None:
    assert marked(request)


def test_a_fixture_that_asks_for_the_database_counts(
    request: pytest.FixtureRequest, manager: Person
) -> None:
    assert marked(request)


def test_real_transactions_count(request: pytest.FixtureRequest, transactional_db: None) -> None:
    assert marked(request)


@pytest.fixture(scope="module")
def once_a_module(django_db_setup: None) -> None:
    return


def test_rows_made_once_a_module_count(request: pytest.FixtureRequest, once_a_module: None) -> None:
    assert marked(request)


class SeesItsMark:
    @pytest.fixture(autouse=True)
    def _see(self, request: pytest.FixtureRequest) -> None:
        self.marked = marked(request)


class TestClassOfDjango(SeesItsMark, TestCase):
    def test_counts(self) -> None:
        assert self.marked


class TestClassOfHypothesis(SeesItsMark, GeneratingTestCase):
    def test_counts(self) -> None:
        assert self.marked


class TestClassWithoutDatabase(SeesItsMark, SimpleTestCase):
    def test_does_not_count(self) -> None:
        assert not self.marked


def test_what_is_not_marked_is_refused_the_database() -> None:
    with pytest.raises(RuntimeError, match="Database access not allowed"):
        User.objects.count()
