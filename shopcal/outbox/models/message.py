"""One thing owed."""

from __future__ import annotations

from datetime import datetime
from typing import Self

from django.db import models
from django.utils import timezone


class MessageQuerySet(models.QuerySet["OutboxMessage"]):
    def open(self) -> Self:
        """Still owed: neither done nor set aside."""
        return self.filter(done_at__isnull=True, dead_at__isnull=True)

    def claimable_at(self, moment: datetime) -> Self:
        """Owed, due, and under nobody's lease at this moment."""
        free = models.Q(lease_until__isnull=True) | models.Q(lease_until__lte=moment)
        return self.open().filter(free, run_at__lte=moment)


class OutboxMessage(models.Model):
    """One thing owed, worked on under a lease: whoever holds it may finish it, nobody else.

    ``attempts`` is counted when a message is claimed, not when it fails, so that one that kills its
    worker is set aside in the end too.
    """

    # The project's accounts app; None for what belongs to no shop, such as a timer's run.
    shop = models.ForeignKey(
        "accounts.Shop", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    kind = models.CharField(max_length=80)
    key = models.CharField(max_length=200, unique=True)
    payload = models.JSONField(default=dict)
    queue = models.CharField(max_length=40, default="default")
    run_at = models.DateTimeField(default=timezone.now)
    lease_owner = models.CharField(max_length=120, blank=True, default="")
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    last_error = models.TextField(blank=True, default="")
    # When the relay last told the broker; only used where a broker is named.
    published_at = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    dead_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = models.Manager.from_queryset(MessageQuerySet)()

    class Meta:
        ordering = ["run_at", "id"]
        indexes = [
            # Only what is owed: this index stays small however long the history grows.
            models.Index(
                fields=["run_at", "id"],
                name="outbox_owed",
                condition=models.Q(done_at__isnull=True, dead_at__isnull=True),
            ),
            models.Index(
                fields=["dead_at"], name="outbox_dead", condition=models.Q(dead_at__isnull=False)
            ),
            models.Index(
                fields=["done_at"], name="outbox_done", condition=models.Q(done_at__isnull=False)
            ),
        ]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(done_at__isnull=True) | models.Q(dead_at__isnull=True),
                name="outbox_done_or_dead_not_both",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"
