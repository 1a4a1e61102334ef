"""Diagnostic scans before and after, and the trouble codes in them."""

from __future__ import annotations

from django.db import models

from bays.models import EquipmentUnit
from jobs.models.visit import Visit
from shopcal.accounts.scoping import ShopOwned


class Scan(ShopOwned):
    """One scan of all modules. The latest of a kind counts; earlier ones stay for the record."""

    class Kind(models.TextChoices):
        PRE = "pre", "Pre-scan"
        POST = "post", "Post-scan"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="scans")
    kind = models.CharField(max_length=4, choices=Kind.choices)
    taken_at = models.DateTimeField()
    taken_by = models.CharField(max_length=150)
    tool = models.ForeignKey(EquipmentUnit, null=True, blank=True, on_delete=models.PROTECT)
    modules_scanned = models.JSONField(default=list)
    compared_at = models.DateTimeField(null=True, blank=True)  # a person looked at the comparison
    compared_by = models.CharField(max_length=150, blank=True)
    entered = models.CharField(max_length=10, default="typed")  # typed, csv or json

    class Meta:
        ordering = ["taken_at", "id"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of visit {self.visit_id}"


class ScanCode(ShopOwned):
    """A trouble code as read from one module."""

    scan = models.ForeignKey(Scan, on_delete=models.CASCADE, related_name="codes")
    module = models.CharField(max_length=60, blank=True)
    code = models.CharField(max_length=5)
    failure_type = models.CharField(max_length=2, blank=True)
    status = models.CharField(max_length=20, blank=True)
    blocking = models.BooleanField(default=False)
    explanation = models.CharField(max_length=300, blank=True)  # why a code stays in a post-scan
    cleared_at = models.DateTimeField(
        null=True, blank=True
    )  # cleared before calibrating, seen by a rescan
    cleared_by = models.CharField(max_length=150, blank=True)

    class Meta:
        ordering = ["module", "code"]

    def __str__(self) -> str:
        return f"{self.code} {self.module}".strip()
