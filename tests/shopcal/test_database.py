"""Rules the database enforces are installed, noticed when missing, and put back."""

import pytest
from django.db import IntegrityError, connection, models, transaction

from shopcal.accounts.models import Shop
from shopcal.checks import check_guards
from shopcal.database import Guard, GuardsMissing, install, kept, missing, remove, require_guards

pytestmark = pytest.mark.django_db

FUNCTION = """
CREATE OR REPLACE FUNCTION test_refuses() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'no such name' USING ERRCODE = 'integrity_constraint_violation'; END $$;
"""


def guard(name: str = "no_nameless_shop", word: str = "nobody") -> Guard:
    return Guard(
        name=name,
        table="accounts_shop",
        sqlite=f"CREATE TRIGGER {name} BEFORE INSERT ON accounts_shop WHEN NEW.name = '{word}'"
        " BEGIN SELECT RAISE(ABORT, 'no such name'); END",
        postgresql=f"{FUNCTION} CREATE TRIGGER {name} BEFORE INSERT ON accounts_shop FOR EACH ROW"
        f" WHEN (NEW.name = '{word}') EXECUTE FUNCTION test_refuses()",
    )


def refused(name: str) -> bool:
    try:
        with transaction.atomic():
            Shop.objects.create(slug=name, name=name)
    except IntegrityError as fault:
        return "no such name" in str(fault)
    return False


def test_an_installed_guard_is_not_missing_and_works() -> None:
    assert missing([guard()], connection) == [guard()]
    install([guard()], connection)
    assert missing([guard()], connection) == []
    assert refused("nobody")
    assert not refused("Fennhollow")


def test_installing_twice_changes_nothing() -> None:
    install([guard()], connection)
    install([guard()], connection)
    assert missing([guard()], connection) == []


def test_a_guard_with_a_new_text_is_missing_until_installed_anew() -> None:
    install([guard()], connection)
    newer = guard(word="nothing")
    assert missing([newer], connection) == [newer]
    install([newer], connection)
    assert refused("nothing")
    assert not refused("nobody")


def test_a_removed_guard_is_missing() -> None:
    install([guard()], connection)
    remove([guard()], connection)
    assert missing([guard()], connection) == [guard()]
    assert not refused("nobody")


def test_a_guard_of_a_table_that_does_not_exist_yet_waits() -> None:
    early = Guard("early", "no_such_table", "CREATE TRIGGER …", "CREATE TRIGGER …")
    install([early], connection)
    assert missing([early], connection) == [early]
    remove([early], connection)


def test_a_back_end_that_needs_nothing_lacks_nothing() -> None:
    assert missing([Guard("elsewhere", "accounts_shop", "", "")], connection) == []


def test_a_guard_switched_off_on_postgresql_is_missing() -> None:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite cannot switch a trigger off")
    install([guard()], connection)
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE accounts_shop DISABLE TRIGGER no_nameless_shop")
    assert missing([guard()], connection) == [guard()]


@pytest.mark.django_db(transaction=True)
def test_a_change_of_the_table_drops_triggers_on_sqlite_and_this_is_noticed() -> None:
    """The reason this module exists; should Django ever keep triggers, this test says so."""
    if connection.vendor != "sqlite":
        pytest.skip("only SQLite copies tables")
    install([guard()], connection)
    # No test may leave the table otherwise than it found it: the copy has the same columns.
    field = Shop._meta.get_field("phone")
    longer = models.CharField(max_length=41, blank=True)
    longer.set_attributes_from_name("phone")
    longer.model = Shop
    with connection.schema_editor() as editor:
        editor.alter_field(Shop, field, longer)
    assert missing([guard()], connection) == [guard()]
    with connection.schema_editor() as editor:
        editor.alter_field(Shop, longer, field)


def test_service_starts_with_every_guard_in_place_and_not_without() -> None:
    require_guards()
    remove(kept()[:1], connection)
    with pytest.raises(GuardsMissing, match=r"manage\.py migrate"):
        require_guards()
    assert [w.id for w in check_guards(None, databases=["default"])] == ["shopcal.W003"]
