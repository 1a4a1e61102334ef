"""Addresses that are told when a visit or a calibration changes."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class WebhookEndpoint(ShopOwned):
    """A receiver's address. Deliveries are signed with ``secret`` (HMAC-SHA256)."""

    url = models.URLField(max_length=400)
    secret = models.CharField(max_length=64)
    kinds = models.JSONField(
        default=list
    )  # event kinds by prefix, such as "visit." ; empty means all
    active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)
    last_status = models.PositiveSmallIntegerField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    last_delivered_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.url


class WebhookCursor(models.Model):
    """How far a shop's history has been turned into deliveries."""

    shop = models.OneToOneField(
        "accounts.Shop", on_delete=models.PROTECT, primary_key=True, related_name="+"
    )
    seq = models.PositiveBigIntegerField()

    def __str__(self) -> str:
        return f"{self.shop_id}: {self.seq}"
