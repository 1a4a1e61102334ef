"""What the API keeps for itself."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from shopcal.accounts.scoping import ShopOwned


class IdempotencyKey(ShopOwned):
    """The answer that was given to a request with an ``Idempotency-Key``.

    It is written in the transaction of the request's effect, so that one is never there without the
    other. ``caller`` is ``membership:12``; ``digest`` is of the request's content.
    """

    caller = models.CharField(max_length=40)
    method = models.CharField(max_length=8)
    path = models.CharField(max_length=400)
    key = models.CharField(max_length=255)
    digest = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    headers = models.JSONField(default=dict)
    body = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now, db_index=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["shop", "caller", "method", "path", "key"], name="idempotency_key_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.method} {self.path} {self.key}"
