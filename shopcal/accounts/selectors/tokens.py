"""A member's API tokens."""

from __future__ import annotations

from django.db.models import QuerySet

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import ApiToken


def tokens_of(by: Actor) -> QuerySet[ApiToken]:
    """The member's own tokens, newest first, revoked ones too; the service itself has none."""
    if by.membership_id is None:
        return ApiToken.objects.none()
    return ApiToken.objects.filter(membership_id=by.membership_id, membership__shop_id=by.shop_id)
