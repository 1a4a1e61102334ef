"""What happened in a shop, each event chained to the one before."""

from __future__ import annotations

from datetime import UTC
from typing import Any

from django.db import models

from shopcal.accounts.models import Shop
from shopcal.accounts.scoping import ShopOwned
from shopcal.history.chain import event_hash
from shopcal.history.fields import CanonicalJSONField


class Event(ShopOwned):
    """One thing that happened. Never changed, never removed; the database refuses both.

    ``seq`` counts 1, 2, 3 … within the shop without gaps, in the order of commits. Who acted is
    kept as plain numbers and text, so that a person's change of name rewrites nothing here.
    """

    seq = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor_name = models.CharField(max_length=150)
    actor_role = models.CharField(max_length=16, blank=True)  # empty: the service itself
    actor_user_id = models.BigIntegerField(null=True)
    actor_membership_id = models.BigIntegerField(null=True)
    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=80)
    visit_id = models.BigIntegerField(null=True)
    before = CanonicalJSONField(null=True)
    after = CanonicalJSONField(null=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["shop", "seq"]
        constraints = [
            models.UniqueConstraint(fields=["shop", "seq"], name="event_seq_once_per_shop")
        ]
        indexes = [
            models.Index(fields=["shop", "visit_id", "seq"], name="event_by_visit"),
            models.Index(fields=["shop", "subject", "seq"], name="event_by_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.seq} {self.kind} {self.subject}"

    def content(self) -> dict[str, Any]:
        """What the hash covers: everything but the row's own id and the hashes."""
        return {
            "shop": self.shop_id,
            "seq": self.seq,
            "at": self.at.astimezone(UTC).isoformat(timespec="microseconds"),
            "actor": {
                "name": self.actor_name,
                "role": self.actor_role,
                "user": self.actor_user_id,
                "membership": self.actor_membership_id,
            },
            "kind": self.kind,
            "subject": self.subject,
            "visit": self.visit_id,
            "before": self.before,
            "after": self.after,
        }

    def expected_hash(self) -> str:
        """The hash its content and its ``previous_hash`` give."""
        return event_hash(self.content(), self.previous_hash)


class ShopChain(models.Model):
    """The end of a shop's chain. Its row is the lock that keeps two writers from forking it."""

    shop = models.OneToOneField(Shop, on_delete=models.PROTECT, primary_key=True, related_name="+")
    seq = models.PositiveBigIntegerField(default=0)
    head = models.CharField(max_length=64)

    def __str__(self) -> str:
        return f"{self.shop_id}: {self.seq}"
