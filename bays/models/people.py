"""Technicians, their skills and shifts, and opening hours. Times of day are the shop's."""

from __future__ import annotations

from django.db import models

from bays.models.hold import Resource
from shopcal.accounts.models import Membership
from shopcal.accounts.scoping import ShopOwned


class Weekday(models.IntegerChoices):
    MONDAY = 0, "Monday"
    TUESDAY = 1, "Tuesday"
    WEDNESDAY = 2, "Wednesday"
    THURSDAY = 3, "Thursday"
    FRIDAY = 4, "Friday"
    SATURDAY = 5, "Saturday"
    SUNDAY = 6, "Sunday"


class Skill(ShopOwned):
    """Something a technician must be qualified for, asked for by procedures by ``code``."""

    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="skill_once")]

    def __str__(self) -> str:
        return self.name


class Technician(ShopOwned):
    """A person who works on vehicles; signs in through a membership where there is one."""

    membership = models.OneToOneField(
        Membership, null=True, blank=True, on_delete=models.SET_NULL, related_name="technician"
    )
    resource = models.OneToOneField(Resource, on_delete=models.PROTECT, related_name="technician")
    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    active = models.BooleanField(default=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="technician_once")]

    def __str__(self) -> str:
        return self.name


class TechnicianSkill(ShopOwned):
    """A qualification of one technician; ``valid_until`` is the last day it counts."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="skills")
    skill = models.ForeignKey(Skill, on_delete=models.PROTECT, related_name="holders")
    valid_from = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["skill__name"]
        constraints = [
            models.UniqueConstraint(
                fields=["technician", "skill"], name="skill_once_per_technician"
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician_id} {self.skill_id}"


class ShiftPattern(ShopOwned):
    """A technician's hours on one weekday, with an optional lunch."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="shifts")
    weekday = models.PositiveSmallIntegerField(choices=Weekday.choices)
    starts = models.TimeField()
    ends = models.TimeField()
    lunch_starts = models.TimeField(null=True, blank=True)
    lunch_ends = models.TimeField(null=True, blank=True)
    valid_from = models.DateField(null=True, blank=True)
    valid_until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["weekday", "starts"]

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.starts:%H:%M}–{self.ends:%H:%M}"


class Absence(ShopOwned):
    """A time a technician is away."""

    technician = models.ForeignKey(Technician, on_delete=models.CASCADE, related_name="absences")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(starts_at__lt=models.F("ends_at")),
                name="absence_starts_before_it_ends",
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician_id} away from {self.starts_at:%Y-%m-%d %H:%M}"


class OpeningHours(ShopOwned):
    """When the shop is open on one weekday."""

    weekday = models.PositiveSmallIntegerField(choices=Weekday.choices)
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ["weekday", "opens"]
        verbose_name_plural = "opening hours"

    def __str__(self) -> str:
        return f"{self.get_weekday_display()} {self.opens:%H:%M}–{self.closes:%H:%M}"


class Closure(ShopOwned):
    """Days the shop stays shut, both included."""

    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=120)

    class Meta:
        ordering = ["starts_on"]

    def __str__(self) -> str:
        return f"{self.starts_on}–{self.ends_on}: {self.reason}"
