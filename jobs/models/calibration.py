"""A system to be calibrated, each attempt at it, and what was answered, used and overridden."""

from __future__ import annotations

from django.db import models

from bays.models import EquipmentUnit, Technician
from jobs.lifecycle import CalibrationState
from jobs.models.procedure import ProcedureEdition
from jobs.models.visit import Step, Visit
from shopcal.accounts.scoping import ShopOwned


class Calibration(ShopOwned):
    """One driver-assistance system to be calibrated in a visit, by one frozen procedure edition."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="calibrations")
    step = models.OneToOneField(Step, on_delete=models.PROTECT, related_name="calibration")
    edition = models.ForeignKey(
        ProcedureEdition, on_delete=models.PROTECT, related_name="calibrations"
    )
    system = models.SlugField(max_length=60)
    state = models.CharField(
        max_length=12, choices=[(s.value, s.value) for s in CalibrationState], default="planned"
    )
    reasons = models.JSONField(default=list)  # why it is necessary, in words
    cancelled_reason = models.CharField(max_length=300, blank=True)
    # For one that failed or was stopped for good: how the vehicle leaves and who was told.
    dealt_with = models.CharField(max_length=400, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["step__order"]

    def __str__(self) -> str:
        return f"{self.system} of visit {self.visit_id}"


class Attempt(ShopOwned):
    """One execution of a calibration; a second one is rework."""

    calibration = models.ForeignKey(Calibration, on_delete=models.CASCADE, related_name="attempts")
    number = models.PositiveSmallIntegerField()
    technician = models.ForeignKey(
        Technician, null=True, blank=True, on_delete=models.PROTECT, related_name="attempts"
    )
    begun_at = models.DateTimeField()
    begun_by = models.CharField(max_length=150)
    run_started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=8, blank=True)  # passed, failed or stopped
    cause = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    # The worksheet as evaluated when the run started: unrounded values, verdicts, method version.
    evaluation = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["calibration", "number"], name="attempt_number_once")
        ]

    def __str__(self) -> str:
        return f"attempt {self.number}"


class Answer(ShopOwned):
    """A question of the edition answered in an attempt: yes or no, or a quantity."""

    class Phase(models.TextChoices):
        PRECONDITION = "precondition", "before you start"
        BEFORE_RUN = "before_run", "before the run"
        DURING_RUN = "during_run", "during the run"
        AFTER_CHECK = "after_check", "after the run"

    attempt = models.ForeignKey(Attempt, on_delete=models.CASCADE, related_name="answers")
    phase = models.CharField(max_length=14, choices=Phase.choices)
    name = models.CharField(max_length=60)
    ask = models.CharField(max_length=300)
    met = models.BooleanField()
    typed = models.CharField(max_length=60, blank=True)
    value = models.FloatField(null=True, blank=True)
    unit = models.CharField(max_length=12, blank=True)
    says = models.CharField(max_length=200, blank=True)
    answered_at = models.DateTimeField()
    answered_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["answered_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["attempt", "phase", "name"], name="answer_once_per_question"
            )
        ]

    def __str__(self) -> str:
        return f"{self.name}: {'met' if self.met else 'not met'}"


class AttemptUnit(ShopOwned):
    """A unit used in an attempt, with its fitness as it stood that moment."""

    attempt = models.ForeignKey(Attempt, on_delete=models.CASCADE, related_name="units")
    unit = models.ForeignKey(EquipmentUnit, on_delete=models.PROTECT)
    serial = models.CharField(max_length=80, blank=True)
    fitness = models.CharField(max_length=12)  # fit, due soon or overdue
    fitness_says = models.CharField(max_length=200, blank=True)
    used_at = models.DateTimeField()

    class Meta:
        ordering = ["used_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["attempt", "unit"], name="unit_once_per_attempt")
        ]

    def __str__(self) -> str:
        return f"unit {self.unit_id} in attempt {self.attempt_id}"


class Override(ShopOwned):
    """A guard a manager let pass, with the reason; it is shown on the record."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="overrides")
    # Both None where the guard is one of the visit's own moves.
    calibration = models.ForeignKey(
        Calibration, null=True, blank=True, on_delete=models.CASCADE, related_name="overrides"
    )
    # None while it waits for the attempt it lets begin.
    attempt = models.ForeignKey(
        Attempt, null=True, blank=True, on_delete=models.CASCADE, related_name="overrides"
    )
    guard = models.CharField(max_length=60)
    says = models.CharField(max_length=300)
    reason = models.CharField(max_length=400)
    overridden_at = models.DateTimeField()
    overridden_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["overridden_at"]
        constraints = [
            models.UniqueConstraint(fields=["attempt", "guard"], name="override_once_per_guard"),
            models.UniqueConstraint(
                fields=["visit", "guard"],
                condition=models.Q(attempt__isnull=True, calibration__isnull=True),
                name="override_once_per_visit_guard",
            ),
            models.UniqueConstraint(
                fields=["calibration", "guard"],
                condition=models.Q(attempt__isnull=True),
                name="override_once_per_attempt_to_come",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.guard}: {self.reason}"
