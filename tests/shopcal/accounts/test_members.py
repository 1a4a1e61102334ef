"""Who belongs to a shop."""

import pytest

from shopcal.accounts.actor import Role
from shopcal.accounts.models import Membership, User
from shopcal.accounts.services.members import add_member, change_role, remove_member
from shopcal.errors import Conflict, Invalid, NotAllowed, NotFound
from shopcal.history.models import Event

pytestmark = pytest.mark.django_db
NEW = {"email": "Ines.Hale@example.test", "name": "Ines Hale", "role": Role.TECHNICIAN}


def test_a_new_person_joins_but_cannot_sign_in_without_a_password(manager) -> None:
    membership = add_member(**NEW, by=manager.actor)
    assert (membership.shop_id, membership.role) == (manager.shop_id, Role.TECHNICIAN)
    assert membership.user.email == "ines.hale@example.test"
    assert not membership.user.has_usable_password()


def test_a_person_of_another_shop_joins_with_the_account_they_have(manager, other_manager) -> None:
    email = other_manager.user.email
    membership = add_member(email=email, name="Renamed", role=Role.TECHNICIAN, by=manager.actor)
    assert membership.user == other_manager.user
    assert User.objects.get(email=email).name == "Odo Park"


def test_a_member_is_not_added_twice(manager, technician) -> None:
    with pytest.raises(Conflict) as refused:
        add_member(email=technician.user.email, name="T", role=Role.MANAGER, by=manager.actor)
    assert refused.value.code == "member_already"
    technician.membership.refresh_from_db()
    assert technician.membership.role == Role.TECHNICIAN


def test_one_who_left_comes_back_to_the_same_place(manager, technician) -> None:
    remove_member(membership_id=technician.membership.pk, by=manager.actor)
    back = add_member(
        email=technician.user.email, name="T", role=Role.SERVICE_WRITER, by=manager.actor
    )
    assert back.pk == technician.membership.pk
    assert (back.active, back.role) == (True, Role.SERVICE_WRITER)


@pytest.mark.parametrize(
    ("field", "value"), [("email", "no address"), ("name", " "), ("name", "x" * 151)]
)
def test_a_wrong_address_or_name_is_refused_by_field(manager, field: str, value: str) -> None:
    with pytest.raises(Invalid) as refused:
        add_member(**{**NEW, field: value}, by=manager.actor)
    assert [e.path for e in refused.value.errors] == [field]


@pytest.mark.parametrize("who", ["technician", "service_writer"])
def test_only_managers_change_members(request, manager, who: str) -> None:
    by = request.getfixturevalue(who).actor
    with pytest.raises(NotAllowed):
        add_member(**NEW, by=by)
    with pytest.raises(NotAllowed):
        change_role(membership_id=manager.membership.pk, role=Role.TECHNICIAN, by=by)
    with pytest.raises(NotAllowed):
        remove_member(membership_id=manager.membership.pk, by=by)


def test_another_shops_manager_finds_no_such_member(technician, other_manager) -> None:
    with pytest.raises(NotFound):
        change_role(
            membership_id=technician.membership.pk, role=Role.MANAGER, by=other_manager.actor
        )
    with pytest.raises(NotFound):
        remove_member(membership_id=technician.membership.pk, by=other_manager.actor)


def test_the_last_manager_stays(manager, technician, other_manager) -> None:
    pk = manager.membership.pk
    with pytest.raises(Conflict, match="only manager"):
        remove_member(membership_id=pk, by=manager.actor)
    with pytest.raises(Conflict, match="only manager"):
        change_role(membership_id=pk, role=Role.TECHNICIAN, by=manager.actor)
    change_role(membership_id=technician.membership.pk, role=Role.MANAGER, by=manager.actor)
    remove_member(membership_id=pk, by=manager.actor)
    assert not Membership.objects.get(pk=pk).active


def test_changes_are_told_with_before_and_after(manager, technician) -> None:
    pk = technician.membership.pk
    change_role(membership_id=pk, role=Role.SERVICE_WRITER, by=manager.actor)
    change_role(membership_id=pk, role=Role.SERVICE_WRITER, by=manager.actor)
    remove_member(membership_id=pk, by=manager.actor)
    events = list(Event.objects.filter(subject=f"member:{pk}").order_by("seq"))
    assert [e.kind for e in events] == ["member.role_changed", "member.removed"]
    assert (events[0].before["role"], events[0].after["role"]) == ("technician", "service_writer")
    assert (events[1].before["active"], events[1].after["active"]) == (True, False)
