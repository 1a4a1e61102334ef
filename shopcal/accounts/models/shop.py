"""One site: its address, its clock, its units and its house rules."""

from __future__ import annotations

import zoneinfo

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models


def check_time_zone(name: str) -> None:
    """Refuse a name that is not in the time zone database."""
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValidationError(
            "“%(name)s” is not a time zone. Write it like Europe/Vienna or America/Chicago.",
            code="time_zone",
            params={"name": name},
        ) from error


class Units(models.TextChoices):
    """What people read and type; everything is stored in millimetres and degrees."""

    METRIC = "metric", "metric (mm)"
    US = "us", "US (in)"


class Shop(models.Model):
    """One site. ``version`` counts changes, so two people's edits are noticed."""

    slug = models.SlugField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=64, default="UTC", validators=[check_time_zone])
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    address = models.TextField(max_length=400, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(max_length=254, blank=True)
    # Time to bring one vehicle out of a placement and the next one in.
    move_minutes = models.PositiveSmallIntegerField(default=5, validators=[MaxValueValidator(120)])
    # Work that starts sooner than this is not moved by a re-plan.
    booking_freeze_minutes = models.PositiveSmallIntegerField(
        default=30, validators=[MaxValueValidator(1440)]
    )
    # Whoever does a step also brings the vehicle to it, and is busy for the move.
    technicians_move_vehicles = models.BooleanField(default=False)
    # Steps are planned at this share of the shop's own past durations, in per cent: at 80, four
    # in five were done in the time planned.
    duration_percentile = models.PositiveSmallIntegerField(
        default=80, validators=[MinValueValidator(50), MaxValueValidator(99)]
    )
    offers_to_show = models.PositiveSmallIntegerField(
        default=3, validators=[MinValueValidator(1), MaxValueValidator(10)]
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)
