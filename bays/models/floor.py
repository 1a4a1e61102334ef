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


class FloorDraft(ShopOwned):
    """The drawing that a manager is at, kept as it is, faults and all, until it is published.

    One for each shop; ``version`` counts the savings, so that two people who draw at once are
    told of each other.
    """

    content = models.JSONField()
    version = models.PositiveIntegerField(default=1)
    saved_at = models.DateTimeField()
    saved_by = models.CharField(max_length=150)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["shop"], name="floor_draft_once")]

    def __str__(self) -> str:
        return f"drawing saved {self.saved_at:%Y-%m-%d %H:%M}"


class FloorSurvey(ShopOwned):
    """Floor heights read on one day; ``points`` are ``[x_mm, y_mm, height_mm]`` on the plan.

    The standard uncertainty of a reading is the instrument's own. ``due_on`` is the last day the
    readings are good; without it they are good until another survey. Never changed once kept.
    """

    number = models.PositiveIntegerField(default=1)
    surveyed_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    instrument = models.CharField(max_length=120)
    reading_uncertainty_mm = models.FloatField(default=0.5)
    points = models.JSONField()
    notes = models.TextField(blank=True)
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-surveyed_on", "-id"]
        constraints = [models.UniqueConstraint(fields=["shop", "number"], name="floor_survey_once")]

    def __str__(self) -> str:
        return f"survey of {self.surveyed_on}"


class LightSurvey(ShopOwned):
    """Illuminance read at the floor on one day; ``points`` are ``[x_mm, y_mm, lux]``.

    ``conditions`` says which lamps were on and whether daylight came in; ``due_on`` as for heights.
    """

    number = models.PositiveIntegerField(default=1)
    surveyed_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    instrument = models.CharField(max_length=120)
    reading_uncertainty_percent = models.FloatField(default=5.0)
    points = models.JSONField()
    conditions = models.CharField(max_length=200, blank=True)
    notes = models.TextField(blank=True)
    recorded_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["-surveyed_on", "-id"]
        constraints = [models.UniqueConstraint(fields=["shop", "number"], name="light_survey_once")]

    def __str__(self) -> str:
        return f"light survey of {self.surveyed_on}"


class FloorAnswer(models.Model):
    """What was worked out about a floor once, for every process: an answer that takes a second or
    more to compute. It can always be thrown away; ``used_on`` tells which are the oldest."""

    key = models.CharField(max_length=100, unique=True)
    content = models.JSONField()
    used_on = models.DateField()

    def __str__(self) -> str:
        return self.key
