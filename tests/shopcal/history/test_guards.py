"""The database itself refuses to change history."""

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from shopcal import database
from shopcal.accounts.actor import Actor
from shopcal.history.guards import GUARDS
from shopcal.history.models import Event
from shopcal.history.record import record_event

pytestmark = pytest.mark.django_db


@pytest.fixture
def event(shop) -> Event:
    return record_event(by=Actor.system(shop.pk), kind="unit.moved", subject="unit:7")


ACTS = {
    "save": lambda event: event.save(),
    "queryset update": lambda event: Event.objects.filter(pk=event.pk).update(kind="other"),
    "bulk update": lambda event: Event.objects.bulk_update([event], ["kind"]),
    "delete": lambda event: event.delete(),
    "queryset delete": lambda _: Event.objects.all()._raw_delete("default"),
}
SQL = {
    "update": "UPDATE history_event SET actor_name = 'someone else'",
    "delete": "DELETE FROM history_event",
    "replace": "REPLACE INTO history_event SELECT * FROM history_event",
    "upsert": "INSERT INTO history_event SELECT * FROM history_event WHERE true"
    " ON CONFLICT (id) DO UPDATE SET kind = 'other'",
}


@pytest.mark.parametrize("act", ACTS)
def test_django_cannot_change_or_remove_an_event(event: Event, act: str) -> None:
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        ACTS[act](event)
    assert Event.objects.get().kind == "unit.moved"


@pytest.mark.parametrize("statement", SQL)
def test_plain_sql_cannot_change_or_remove_an_event(event: Event, statement: str) -> None:
    if statement == "replace" and connection.vendor != "sqlite":
        pytest.skip("SQLite's own statement")
    with (
        pytest.raises(IntegrityError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(SQL[statement])
    assert Event.objects.get() == event


def test_postgresql_cannot_empty_the_table_either(event: Event) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no TRUNCATE")
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # or it is refused for another reason
        with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
            cursor.execute("TRUNCATE history_event CASCADE")
    assert Event.objects.get() == event


def test_guards_dropped_by_a_change_of_the_table_come_back_with_migrate() -> None:
    database.remove(GUARDS, connection)
    with pytest.raises(database.GuardsMissing, match="history_event_no_update"):
        database.require_guards()
    call_command("migrate", "history", verbosity=0)
    database.require_guards()
