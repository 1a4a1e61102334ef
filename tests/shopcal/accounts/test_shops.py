"""Opening a shop and changing its settings."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from shopcal.accounts.models import Role, Shop
from shopcal.accounts.services.shops import change_shop, open_shop
from shopcal.errors import Invalid, NotAllowed, Stale
from shopcal.history.models import Event

pytestmark = pytest.mark.django_db
MANAGER = {"manager_email": "maud@example.test", "manager_name": "Maud Ellery"}


def test_a_shop_opens_with_its_first_manager() -> None:
    membership = open_shop(slug="a", name="A", time_zone="Europe/Vienna", **MANAGER)
    assert (membership.role, membership.user.name) == (Role.MANAGER, "Maud Ellery")
    kinds = Event.objects.for_shop(membership.shop_id).values_list("kind", flat=True)
    assert list(kinds) == ["shop.opened", "member.added"]


@pytest.mark.parametrize(
    ("wrong", "path"),
    [
        ({"slug": "fennhollow"}, "slug"),
        ({"time_zone": "Mars/Base"}, "time_zone"),
        ({"units": "ell"}, "units"),
    ],
)
def test_a_shop_with_a_wrong_setting_is_not_opened(shop, wrong: dict, path: str) -> None:
    with pytest.raises(Invalid) as refused:
        open_shop(**{"slug": "a", "name": "A", **MANAGER, **wrong})
    assert [e.path for e in refused.value.errors] == [path]
    assert Shop.objects.count() == 1


def test_a_shop_whose_manager_cannot_be_added_is_not_opened() -> None:
    with pytest.raises(Invalid):
        open_shop(slug="a", name="A", manager_email="none", manager_name="M")
    assert not Shop.objects.exists()


def test_a_manager_changes_settings_and_the_history_tells_both(manager) -> None:
    shop = change_shop(changes={"units": "us", "move_minutes": 8}, version=1, by=manager.actor)
    assert (shop.units, shop.move_minutes, shop.version) == ("us", 8, 2)
    event = Event.objects.get(kind="shop.changed")
    assert (event.before["move_minutes"], event.after["move_minutes"]) == (5, 8)


def test_of_two_edits_of_the_same_version_the_second_is_stale(manager) -> None:
    change_shop(changes={"move_minutes": 8}, version=1, by=manager.actor)
    with pytest.raises(Stale) as refused:
        change_shop(changes={"move_minutes": 9}, version=1, by=manager.actor)
    assert refused.value.facts["now"]["move_minutes"] == 8
    assert Shop.objects.get().move_minutes == 8


@pytest.mark.parametrize(
    "changes", [{"slug": "other"}, {"version": 9}, {"offers_to_show": 0}, {"name": ""}]
)
def test_what_cannot_be_so_is_refused(manager, changes: dict) -> None:
    with pytest.raises(Invalid) as refused:
        change_shop(changes=changes, version=1, by=manager.actor)
    assert [e.path for e in refused.value.errors] == list(changes)
    assert Shop.objects.get().version == 1


@pytest.mark.parametrize("who", ["technician", "service_writer"])
def test_others_may_not_change_the_shop(request, who: str) -> None:
    with pytest.raises(NotAllowed):
        change_shop(changes={"units": "us"}, version=1, by=request.getfixturevalue(who).actor)


def test_a_manager_changes_only_their_own_shop(shop, other_manager) -> None:
    change_shop(changes={"name": "Renamed"}, version=1, by=other_manager.actor)
    assert Shop.objects.get(pk=shop.pk).name == "Fennhollow Sensor Works"


ARGUMENTS = ("b", "B", "--manager-email", "maud@example.test", "--manager-name", "Maud Ellery")


def test_command_opens_a_shop_with_a_password_that_passes(monkeypatch) -> None:
    typed = iter(["short", "chalk-and-tape-19"])
    monkeypatch.setattr(
        "shopcal.accounts.management.commands.open_shop.getpass", lambda _: next(typed)
    )
    err = StringIO()
    call_command("open_shop", *ARGUMENTS, stdout=StringIO(), stderr=err)
    assert "too short" in err.getvalue()
    user = Shop.objects.get(slug="b").memberships.get().user
    assert user.check_password("chalk-and-tape-19")


def test_command_says_in_words_why_it_refuses() -> None:
    with pytest.raises(CommandError, match="not a time zone"):
        call_command("open_shop", *ARGUMENTS, "--time-zone", "Mars/Base", "--no-password")
