"""Every row that belongs to a shop, and the one way to ask for them."""

from __future__ import annotations

from typing import Self, TypeVar

from django.db import models

Owned = TypeVar("Owned", bound=models.Model)


class ShopScopedQuerySet(models.QuerySet[Owned]):
    """Rows of any shop until ``for_shop`` narrows them."""

    def for_shop(self, shop_id: int) -> Self:
        """Rows of this shop only."""
        return self.filter(shop_id=shop_id)


ShopScoped = models.Manager.from_queryset(ShopScopedQuerySet, class_name="ShopScoped")


class ShopOwned(models.Model):
    """A row of one shop. Deleting a shop that still owns anything is refused."""

    shop = models.ForeignKey("accounts.Shop", on_delete=models.PROTECT, related_name="+")

    objects = ShopScoped()

    class Meta:
        abstract = True
