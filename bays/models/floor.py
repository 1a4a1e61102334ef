"""The floor of a shop: immutable plan editions and surveys of how level it is."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class FloorPlanEdition(ShopOwned):
    """One published drawing of the floor, in integer millimetres; a change makes a new edition.

    ``content`` is the shape that ``bays.floor.FloorPlan.from_content`` reads.
    """

    number = models.PositiveIntegerField()
    name = models.CharField(max_length=120)
    content = models.JSONField()
    digest = models.CharField(max_length=64)
    published_at = models.DateTimeField()
    published_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(fields=["shop", "number"], name="floor_edition_once")
        ]

    def __str__(self) -> str:
        return f"{self.name}, edition {self.number}"


class FloorSurvey(ShopOwned):
    """Floor heights read on one day; ``points`` are ``[x_mm, y_mm, height_mm]`` on the plan."""

    surveyed_on = models.DateField()
    instrument = models.CharField(max_length=120)
    reading_uncertainty_mm = models.FloatField(default=0.5)
    points = models.JSONField()
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-surveyed_on", "-id"]

    def __str__(self) -> str:
        return f"survey of {self.surveyed_on}"
