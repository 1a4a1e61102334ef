"""The cast every test may call on: two shops, and three people in the first."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pytest
from django.db import connections
from django.test import Client, TransactionTestCase, override_settings

from shopcal import database
from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop, User
from shopcal.accounts.selectors.memberships import SESSION_KEY
from tests.shopcal.machine import machine, migrated_data, migrated_server, server_machine

__all__ = ["machine", "migrated_data", "migrated_server", "server_machine"]

# Without one of these or the mark, pytest-django refuses a test Django's database.
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_setup", "live_server"}


def uses_database(item: pytest.Item) -> bool:
    """Whether the answer may depend on which database Django is connected to."""
    kind = getattr(item, "cls", None)
    return (
        item.get_closest_marker("django_db") is not None
        or not DATABASE_FIXTURES.isdisjoint(getattr(item, "fixturenames", ()))
        or (kind is not None and issubclass(kind, TransactionTestCase))
    )


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what uses the database, before ``-m`` chooses."""
    for item in items:
        if uses_database(item):
            item.add_marker("database")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Compile once before several workers start, which would each compile the same."""
    option = session.config.option
    if not getattr(option, "numprocesses", None) or option.collectonly:
        return
    compiling = [sys.executable, "-m", "bays.compiled"]
    if subprocess.run(compiling, cwd=session.config.rootpath, check=False).returncode:
        pytest.exit("The compiled parts could not be compiled.", returncode=3)


@pytest.fixture(scope="session", autouse=True)
def _guards_lifted_while_emptying_tables() -> Iterator[None]:
    """Tests with real transactions empty every table afterwards, which append-only tables refuse.

    Emptying ends with ``post_migrate``, which puts the guards back.
    """
    original = TransactionTestCase._fixture_teardown

    def teardown(self: TransactionTestCase) -> None:
        for alias in self._databases_names(include_mirrors=False):
            if not connections[alias].in_atomic_block:
                database.remove(database.kept(), connections[alias])
        original(self)

    TransactionTestCase._fixture_teardown = teardown
    yield
    TransactionTestCase._fixture_teardown = original


@pytest.fixture(scope="session", autouse=True)
def _data_dir_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test writes mail or files where the service keeps them."""
    place = tmp_path_factory.mktemp("data")
    with override_settings(
        DATA_DIR=place, MEDIA_ROOT=place / "media", EMAIL_FILE_PATH=place / "mail"
    ):
        yield


@dataclass(frozen=True)
class Person:
    """A member of a shop: the rows, and the actor that services take."""

    user: User
    membership: Membership

    @property
    def actor(self) -> Actor:
        return Actor.of(self.membership)

    @property
    def shop_id(self) -> int:
        return self.membership.shop_id


JoinShop = Callable[..., Person]


@pytest.fixture
def join_shop(db: None) -> JoinShop:
    """Make a person with a role in a shop."""

    def join(shop: Shop, role: Role, name: str = "", *, active: bool = True) -> Person:
        name = name or f"Any {role.label}"
        local = f"{name}.{shop.slug}.{role.value}".lower().replace(" ", ".")
        user = User.objects.create_user(f"{local}@example.test", name)
        membership = Membership.objects.create(user=user, shop=shop, role=role, active=active)
        return Person(user, membership)

    return join


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop.objects.create(
        slug="fennhollow", name="Fennhollow Sensor Works", time_zone="America/Chicago"
    )


@pytest.fixture
def other_shop(db: None) -> Shop:
    return Shop.objects.create(slug="oxbridge", name="Oxbridge Glass & Sensor", time_zone="UTC")


@pytest.fixture
def manager(join_shop: JoinShop, shop: Shop) -> Person:
    return join_shop(shop, Role.MANAGER, "Maud Ellery")


@pytest.fixture
def technician(join_shop: JoinShop, shop: Shop) -> Person:
    return join_shop(shop, Role.TECHNICIAN, "Tobin Ashgrove")


@pytest.fixture
def service_writer(join_shop: JoinShop, shop: Shop) -> Person:
    return join_shop(shop, Role.SERVICE_WRITER, "Sela Wren")


@pytest.fixture
def other_manager(join_shop: JoinShop, other_shop: Shop) -> Person:
    return join_shop(other_shop, Role.MANAGER, "Odo Park")


@pytest.fixture
def client_for() -> Callable[[Person], Client]:
    """A signed-in browser of a person, with their shop chosen."""

    def client(person: Person) -> Client:
        browser = Client()
        browser.force_login(person.user, backend="django.contrib.auth.backends.ModelBackend")
        session = browser.session
        session[SESSION_KEY] = person.membership.pk
        session.save()
        return browser

    return client
