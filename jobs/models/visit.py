"""A vehicle's stay under one repair order, and the steps it is made of."""

from __future__ import annotations

from django.db import models

from bays.models import FloorPlanEdition, Technician
from jobs.lifecycle import VisitState
from jobs.models.vehicle import Vehicle
from shopcal.accounts.scoping import ShopOwned


class Visit(ShopOwned):
    """A vehicle's stay; ``promised_at`` is the time told to the customer."""

    ro_number = models.CharField(max_length=40)
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="visits")
    state = models.CharField(
        max_length=12, choices=[(s.value, s.value) for s in VisitState], default="booked"
    )
    customer_name = models.CharField(max_length=120)
    customer_phone = models.CharField(max_length=40, blank=True)
    customer_email = models.EmailField(blank=True)
    work_done = models.JSONField(default=list)  # work codes that made calibrations necessary
    systems_to_confirm = models.JSONField(default=list)  # systems nobody has seen on it yet
    vin_confirmed = models.BooleanField(default=True)  # false while its check digit is in doubt
    notes = models.TextField(blank=True)
    weight = models.PositiveSmallIntegerField(default=1)  # urgency in the planner's cost
    arrives_at = models.DateTimeField()
    wanted_by = models.DateTimeField(null=True, blank=True)
    promised_at = models.DateTimeField()
    booked_at = models.DateTimeField()
    booked_by = models.CharField(max_length=150)
    checked_in_at = models.DateTimeField(null=True, blank=True)
    ready_at = models.DateTimeField(null=True, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    hold_reason = models.CharField(max_length=200, blank=True)
    cancelled_reason = models.CharField(max_length=200, blank=True)
    signed_off_by = models.CharField(max_length=150, blank=True)
    signed_off_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["promised_at", "id"]
        constraints = [models.UniqueConstraint(fields=["shop", "ro_number"], name="ro_number_once")]
        indexes = [models.Index(fields=["shop", "state", "promised_at"])]

    def __str__(self) -> str:
        return f"RO {self.ro_number}"


class Step(ShopOwned):
    """A schedulable piece of a visit, with the place in the plan it has now."""

    class Kind(models.TextChoices):
        PRE_SCAN = "pre_scan", "Pre-scan"
        CALIBRATION = "calibration", "Calibration"
        ROAD_DRIVE = "road_drive", "Road drive"
        POST_SCAN = "post_scan", "Post-scan"

    class State(models.TextChoices):
        PLANNED = "planned", "planned"
        DOING = "doing", "being done"
        DONE = "done", "done"
        CANCELLED = "cancelled", "cancelled"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="steps")
    order = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=Kind.choices)
    label = models.CharField(max_length=120)
    state = models.CharField(max_length=10, choices=State.choices, default=State.PLANNED)
    # What the planner must know; copied from the edition so that a plan never shifts under a visit.
    minutes = models.PositiveIntegerField()
    lag_minutes = models.PositiveIntegerField(default=0)
    second_person_minutes = models.PositiveIntegerField(default=0)
    skill_code = models.CharField(max_length=60, blank=True)
    equipment_codes = models.JSONField(default=list)
    # What stays set out for the step after, and the minutes that then saves it.
    set_up = models.CharField(max_length=60, blank=True)
    shared_minutes = models.PositiveIntegerField(default=0)
    minutes_say = models.CharField(max_length=160, blank=True)  # where the minutes come from
    # A part or an approval it waits for, and when that is expected.
    waits_for = models.CharField(max_length=120, blank=True)
    not_before = models.DateTimeField(null=True, blank=True)
    # The plan in force.
    starts_at = models.DateTimeField(null=True, blank=True)
    ends_at = models.DateTimeField(null=True, blank=True)
    technician = models.ForeignKey(
        Technician, null=True, blank=True, on_delete=models.PROTECT, related_name="steps"
    )
    second_person = models.ForeignKey(
        Technician, null=True, blank=True, on_delete=models.PROTECT, related_name="second_steps"
    )
    unit_codes = models.JSONField(default=list)
    placement_key = models.CharField(max_length=200, blank=True)
    placement_label = models.CharField(max_length=120, blank=True)
    placement = models.JSONField(
        null=True, blank=True
    )  # pose, margin, zones and polygons in millimetres
    floor_edition = models.ForeignKey(
        FloorPlanEdition, null=True, blank=True, on_delete=models.PROTECT
    )
    park_after = models.BooleanField(default=False)
    pinned = models.BooleanField(default=False)
    # What really happened.
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["visit", "order"]
        indexes = [models.Index(fields=["shop", "starts_at"])]
        constraints = [models.UniqueConstraint(fields=["visit", "order"], name="step_order_once")]

    def __str__(self) -> str:
        return self.label
