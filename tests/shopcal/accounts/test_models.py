"""People, shops and memberships as stored."""

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from shopcal.accounts.models import Membership, Role, Shop, User

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", ["Europe/Vienna", "America/Chicago", "UTC", "Asia/Kolkata"])
def test_time_zones_of_the_database_are_accepted(name: str) -> None:
    Shop(slug="a", name="A", time_zone=name).full_clean()


@pytest.mark.parametrize("name", ["Europe/Fennhollow", "", "../../etc/passwd", "CET+2", "/UTC"])
def test_other_time_zones_are_refused(name: str) -> None:
    with pytest.raises(ValidationError) as refused:
        Shop(slug="a", name="A", time_zone=name).full_clean()
    assert "time_zone" in refused.value.message_dict


def test_one_address_has_one_account_whatever_the_case() -> None:
    User.objects.create_user("Ada@Example.test", "Ada")
    assert User.objects.get().email == "ada@example.test"
    with pytest.raises(IntegrityError), transaction.atomic():
        User.objects.create(email="ADA@example.test", name="Ada again")


def test_a_person_made_without_a_password_cannot_sign_in() -> None:
    assert not User.objects.create_user("ada@example.test", "Ada").has_usable_password()


def test_passwords_are_kept_with_argon2() -> None:
    user = User.objects.create_user("ada@example.test", "Ada", "chalk-and-tape-19")
    assert user.password.startswith("argon2$argon2id$")


def test_a_person_has_one_role_in_a_shop(technician) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Membership.objects.create(
            user=technician.user, shop=technician.membership.shop, role=Role.MANAGER
        )


def test_the_database_refuses_an_unknown_role(technician) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Membership.objects.filter(pk=technician.membership.pk).update(role="owner")


def test_a_shop_that_owns_anything_cannot_be_deleted(technician) -> None:
    with pytest.raises(models.ProtectedError):
        technician.membership.shop.delete()


def test_rows_of_another_shop_are_left_out(technician, other_manager) -> None:
    assert list(Membership.objects.for_shop(technician.shop_id)) == [technician.membership]
