"""Who acts: a person in a shop, or the service itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from shopcal.accounts.roles import Role

if TYPE_CHECKING:
    from shopcal.accounts.models import Membership

__all__ = ["Actor", "Role"]

SYSTEM_NAME = "the service"


@dataclass(frozen=True)
class Actor:
    """Who acts in which shop. ``role`` is None only for the service itself."""

    shop_id: int
    role: Role | None
    name: str
    user_id: int | None = None
    membership_id: int | None = None

    @classmethod
    def system(cls, shop_id: int) -> Actor:
        """The service acting on its own, such as a timer or a worker."""
        return cls(shop_id=shop_id, role=None, name=SYSTEM_NAME)

    @classmethod
    def of(cls, membership: Membership) -> Actor:
        """The person of a membership; reads ``membership.user``."""
        return cls(
            shop_id=membership.shop_id,
            role=Role(membership.role),
            name=membership.user.name,
            user_id=membership.user_id,
            membership_id=membership.pk,
        )

    @property
    def is_system(self) -> bool:
        return self.role is None
