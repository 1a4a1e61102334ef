"""What can be taken, and who has taken it when.

One table holds every kind of resource, so one constraint forbids every kind of double booking.
The database enforces it on both back ends: an exclusion constraint on PostgreSQL and triggers
on SQLite, see ``bays.overlap``.
"""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class ResourceKind(models.TextChoices):
    ZONE = "zone", "floor zone"
    UNIT = "unit", "equipment unit"
    PERSON = "person", "person"


class Resource(ShopOwned):
    """A zone of floor, an equipment unit or a person: whatever only one step may use at a time.

    ``code`` is the zone's id on the floor plan, the unit's own code, or the technician's code, and
    outlives floor plan editions, so an old booking keeps meaning the same piece of floor.
    """

    kind = models.CharField(max_length=8, choices=ResourceKind.choices)
    code = models.CharField(max_length=80)
    name = models.CharField(max_length=120)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["kind", "code"]
        constraints = [
            models.UniqueConstraint(
                fields=["shop", "kind", "code"], name="resource_code_once_per_shop"
            )
        ]

    def __str__(self) -> str:
        return self.name


class HoldReason(models.TextChoices):
    WORK = "work", "work on a vehicle"
    UPKEEP = "upkeep", "upkeep"
    CLOSED = "closed", "closed off"


class Hold(ShopOwned):
    """One resource taken from ``starts_at`` up to, not including, ``ends_at``.

    ``step_id`` names the step of a visit that holds it. It is a plain number, since this app lies
    below the one that knows steps.
    """

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="holds")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    step_id = models.BigIntegerField(null=True, blank=True, db_index=True)
    reason = models.CharField(max_length=8, choices=HoldReason.choices, default=HoldReason.WORK)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["starts_at", "id"]
        indexes = [models.Index(fields=["resource", "starts_at", "ends_at"])]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(starts_at__lt=models.F("ends_at")),
                name="hold_starts_before_it_ends",
            )
        ]

    def __str__(self) -> str:
        return f"{self.resource_id} {self.starts_at:%Y-%m-%d %H:%M}–{self.ends_at:%H:%M}"
