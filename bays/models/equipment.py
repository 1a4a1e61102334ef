"""Targets, mats, stands, tapes, scan tools: types, single items, and their upkeep."""

from __future__ import annotations

from django.db import models

from bays.models.hold import Resource
from shopcal.accounts.scoping import ShopOwned


class EquipmentType(ShopOwned):
    """A kind of equipment that procedures ask for by ``code``.

    ``exclusive`` types are held for the time of a step; the others (marker, tape) lie about in
    number and are only recorded with the readings taken with them.
    """

    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    exclusive = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="equipment_type_once")]

    def __str__(self) -> str:
        return self.name


class EquipmentUnit(ShopOwned):
    """One physical item with its own serial number and label."""

    class State(models.TextChoices):
        IN_SERVICE = "in_service", "in service"
        OUT_OF_SERVICE = "out_of_service", "out of service"

    type = models.ForeignKey(EquipmentType, on_delete=models.PROTECT, related_name="units")
    resource = models.OneToOneField(Resource, on_delete=models.PROTECT, related_name="unit")
    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    serial = models.CharField(max_length=80, blank=True)
    state = models.CharField(max_length=16, choices=State.choices, default=State.IN_SERVICE)
    state_reason = models.CharField(max_length=200, blank=True)
    commissioned_on = models.DateField()
    accuracy_class = models.CharField(max_length=3, blank=True)  # tapes: I, II or III
    resolution_mm = models.FloatField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["type__name", "code"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="equipment_unit_once")]

    def __str__(self) -> str:
        return self.name


class UnitDowntime(ShopOwned):
    """A time a unit cannot be used; open-ended while ``ends_at`` is not known."""

    unit = models.ForeignKey(EquipmentUnit, on_delete=models.CASCADE, related_name="downtimes")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200)

    class Meta:
        ordering = ["starts_at"]

    def __str__(self) -> str:
        return f"{self.unit_id}: {self.reason}"


class UpkeepRule(ShopOwned):
    """Care every unit of a type needs: after so many days or uses, whichever is first."""

    equipment_type = models.ForeignKey(
        EquipmentType, on_delete=models.CASCADE, related_name="upkeep_rules"
    )
    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    says = models.CharField(max_length=400, blank=True)
    every_days = models.PositiveIntegerField(null=True, blank=True)
    every_uses = models.PositiveIntegerField(null=True, blank=True)
    warn_days = models.PositiveIntegerField(default=14)
    warn_uses = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["shop", "code"], name="upkeep_rule_once"),
            models.CheckConstraint(
                condition=models.Q(every_days__gt=0) | models.Q(every_uses__gt=0),
                name="upkeep_rule_has_an_interval",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class UpkeepDone(ShopOwned):
    """Upkeep carried out on a unit; a failed result takes the unit out of service."""

    class Result(models.TextChoices):
        FIT = "fit", "fit for use"
        NOT_FIT = "not_fit", "not fit for use"

    unit = models.ForeignKey(EquipmentUnit, on_delete=models.CASCADE, related_name="upkeep_done")
    rule = models.ForeignKey(UpkeepRule, on_delete=models.PROTECT, related_name="done")
    done_at = models.DateTimeField()
    uses_at = models.PositiveIntegerField()
    result = models.CharField(max_length=8, choices=Result.choices, default=Result.FIT)
    note = models.CharField(max_length=400, blank=True)
    done_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-done_at"]

    def __str__(self) -> str:
        return f"{self.rule_id} on {self.unit_id}"


class UnitUse(ShopOwned):
    """One use of a unit in a step; what upkeep by uses counts."""

    unit = models.ForeignKey(EquipmentUnit, on_delete=models.CASCADE, related_name="uses")
    step_id = models.BigIntegerField(db_index=True)
    used_at = models.DateTimeField()

    class Meta:
        ordering = ["used_at"]
        constraints = [
            models.UniqueConstraint(fields=["unit", "step_id"], name="unit_use_once_per_step")
        ]

    def __str__(self) -> str:
        return f"{self.unit_id} in step {self.step_id}"
