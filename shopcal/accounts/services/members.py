"""Who belongs to a shop, and in which role."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop, User
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound
from shopcal.history.record import record_event


def add_member(*, email: str, name: str, role: Role, by: Actor) -> Membership:
    """Bring a person into the shop, or back into it; one without an account gets one.

    A new account has no password yet, so the person cannot sign in until one is set. The name of
    an account that exists already is left alone: it belongs to the person, not to this shop.

    Raises:
        NotAllowed: not a manager. Invalid: no such address, or no name.
        Conflict: ``member_already``, the person is a member now.
    """
    require(by, Action.MANAGE_MEMBERS)
    email, name = email.strip().lower(), name.strip()
    _check(email, name)
    with transaction.atomic():
        _locked_shop(by)
        user = User.objects.filter(email=email).first() or User.objects.create_user(email, name)
        if Membership.objects.for_shop(by.shop_id).filter(user=user, active=True).exists():
            raise Conflict("member_already", f"{user.name} belongs to this shop already.")
        membership, _ = Membership.objects.update_or_create(
            user=user, shop_id=by.shop_id, defaults={"role": role, "active": True}
        )
        _tell(by, "member.added", membership, before=None)
    return membership


def change_role(*, membership_id: int, role: Role, by: Actor) -> Membership:
    """Give a member another role; it counts from their next request.

    Raises:
        NotAllowed: not a manager. NotFound: no member of this shop.
        Conflict: ``last_manager``, the shop would have no manager left.
    """
    require(by, Action.MANAGE_MEMBERS)
    with transaction.atomic():
        _locked_shop(by)
        membership = _member(membership_id, by)
        if membership.role == role:
            return membership
        if role is not Role.MANAGER:
            _refuse_last_manager(membership)
        before = _facts(membership)
        membership.role = role
        membership.save(update_fields=["role"])
        _tell(by, "member.role_changed", membership, before=before)
    return membership


def remove_member(*, membership_id: int, by: Actor) -> Membership:
    """End a person's membership; pages and tokens stop working at their next request.

    Raises:
        NotAllowed: not a manager. NotFound: no member of this shop.
        Conflict: ``last_manager``, the shop would have no manager left.
    """
    require(by, Action.MANAGE_MEMBERS)
    with transaction.atomic():
        _locked_shop(by)
        membership = _member(membership_id, by)
        _refuse_last_manager(membership)
        before = _facts(membership)
        membership.active = False
        membership.save(update_fields=["active"])
        _tell(by, "member.removed", membership, before=before)
    return membership


def _check(email: str, name: str) -> None:
    errors = []
    try:
        validate_email(email)
    except ValidationError:
        errors.append(FieldError("email", "This is no email address.", "name@shop.example"))
    if not name or len(name) > 150:
        errors.append(FieldError("name", "This names the person.", "1 to 150 characters"))
    if errors:
        raise Invalid("member_invalid", "Nobody was added.", errors=errors)


def _locked_shop(by: Actor) -> None:
    """One change of members at a time: two managers removing each other would leave none."""
    Shop.objects.select_for_update().get(pk=by.shop_id)


def _member(membership_id: int, by: Actor) -> Membership:
    members = Membership.objects.for_shop(by.shop_id).filter(active=True).select_related("user")
    membership = members.filter(pk=membership_id).first()
    if membership is None:
        raise NotFound("member_unknown", "There is no such member of this shop.")
    return membership


def _refuse_last_manager(membership: Membership) -> None:
    others = Membership.objects.for_shop(membership.shop_id).filter(role=Role.MANAGER, active=True)
    if membership.role == Role.MANAGER and not others.exclude(pk=membership.pk).exists():
        raise Conflict(
            "last_manager",
            f"{membership.user.name} is the only manager.",
            detail="Make someone else a manager first.",
        )


def _facts(membership: Membership) -> dict[str, object]:
    return {
        "user": membership.user_id,
        "name": membership.user.name,
        "role": str(membership.role),
        "active": membership.active,
    }


def _tell(by: Actor, kind: str, membership: Membership, before: dict[str, object] | None) -> None:
    record_event(
        by=by,
        kind=kind,
        subject=f"member:{membership.pk}",
        before=before,
        after=_facts(membership),
    )
