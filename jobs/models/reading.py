"""Readings: a number typed by a person, with its unit and the instrument it was read from."""

from __future__ import annotations

from django.db import models

from bays.models import EquipmentUnit
from jobs.models.calibration import Attempt
from shopcal.accounts.scoping import ShopOwned


class Reading(ShopOwned):
    """One reading of a worksheet input. A corrected one stays in the table, struck out."""

    attempt = models.ForeignKey(Attempt, on_delete=models.CASCADE, related_name="readings")
    name = models.CharField(max_length=60)
    repeat = models.PositiveSmallIntegerField(default=1)
    typed = models.CharField(max_length=60)
    value = models.FloatField()  # mm, deg, V or kPa, unrounded
    unit = models.CharField(max_length=12)
    instrument = models.ForeignKey(EquipmentUnit, null=True, blank=True, on_delete=models.PROTECT)
    read_at = models.DateTimeField()
    read_by = models.CharField(max_length=150)
    struck_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name", "repeat", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["attempt", "name", "repeat"],
                condition=models.Q(struck_at__isnull=True),
                name="one_standing_reading_per_repeat",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.typed}"
