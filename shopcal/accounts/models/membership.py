"""A person's place in a shop."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.models.shop import Shop
from shopcal.accounts.models.user import User
from shopcal.accounts.roles import Role
from shopcal.accounts.scoping import ShopScoped


class Membership(models.Model):
    """A person's role in one shop. One who has left is kept, not active: history names them."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=16, choices=Role.choices)
    active = models.BooleanField(default=True)

    objects = ShopScoped()

    class Meta:
        ordering = ["shop__name", "user__name"]
        constraints = [
            models.UniqueConstraint(fields=["user", "shop"], name="membership_once_per_shop"),
            models.CheckConstraint(
                condition=models.Q(role__in=Role.values), name="membership_has_a_known_role"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user_id} in {self.shop_id}: {self.get_role_display()}"
