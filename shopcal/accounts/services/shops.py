"""Opening a shop and changing its settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import F

from shopcal.accounts.actor import Actor, Role
from shopcal.accounts.models import Membership, Shop
from shopcal.accounts.permissions import Action, require
from shopcal.accounts.services.members import add_member
from shopcal.errors import FieldError, Invalid, Stale
from shopcal.history.record import record_event

CHANGEABLE = (
    "name", "time_zone", "units", "address", "phone", "email",
    "move_minutes", "booking_freeze_minutes", "offers_to_show",
)  # fmt: skip


def open_shop(
    *, slug: str, name: str, manager_email: str, manager_name: str, **settings: Any
) -> Membership:
    """Make a shop with its first manager; for the command line, where nobody is signed in yet.

    Raises:
        Invalid: a setting is wrong, or the short name is taken.
    """
    with transaction.atomic():
        shop = Shop(slug=slug, name=name, **settings)
        _check(shop)
        shop.save()
        by = Actor.system(shop.pk)
        record_event(by=by, kind="shop.opened", subject=f"shop:{shop.pk}", after=_facts(shop))
        return add_member(email=manager_email, name=manager_name, role=Role.MANAGER, by=by)


def change_shop(*, changes: Mapping[str, Any], version: int, by: Actor) -> Shop:
    """Change settings of the actor's shop; ``version`` is the one the person was looking at.

    Raises:
        NotAllowed: not a manager. Invalid: a setting is wrong or not one that can be changed.
        Stale: ``shop_changed``, someone else changed the shop since.
    """
    require(by, Action.EDIT_SHOP)
    unknown = [FieldError(name, "This cannot be changed.") for name in set(changes) - {*CHANGEABLE}]
    if unknown:
        raise Invalid("shop_invalid", "The shop was not changed.", errors=unknown)
    with transaction.atomic():
        shop = Shop.objects.select_for_update().get(pk=by.shop_id)
        before = _facts(shop)
        for name, value in changes.items():
            setattr(shop, name, value)
        _check(shop)
        # Conditional on the version: of two edits at once, only the first counts.
        changed = Shop.objects.filter(pk=shop.pk, version=version).update(
            **{name: getattr(shop, name) for name in changes}, version=F("version") + 1
        )
        if not changed:
            raise Stale(
                "shop_changed",
                "Someone else changed the shop's settings meanwhile.",
                facts={"version": shop.version, "now": before},
            )
        shop.refresh_from_db()
        after = _facts(shop)
        record_event(
            by=by, kind="shop.changed", subject=f"shop:{shop.pk}", before=before, after=after
        )
    return shop


def _check(shop: Shop) -> None:
    try:
        shop.full_clean()
    except ValidationError as fault:
        errors = [FieldError(path, " ".join(says)) for path, says in fault.message_dict.items()]
        raise Invalid("shop_invalid", "The shop was not saved.", errors=errors) from fault


def _facts(shop: Shop) -> dict[str, Any]:
    return {name: getattr(shop, name) for name in ("slug", *CHANGEABLE)}
