"""The shop's own transcriptions of service information, as immutable editions."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class Procedure(ShopOwned):
    """One driver-assistance system's procedure, through all its editions."""

    code = models.SlugField(max_length=60)
    name = models.CharField(max_length=120)
    system = models.SlugField(max_length=60)
    method = models.CharField(max_length=12)
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["shop", "code"], name="procedure_once")]

    def __str__(self) -> str:
        return self.name


class ProcedureEdition(ShopOwned):
    """What was written down at one time. ``content`` is what ``jobs.procedures`` reads."""

    procedure = models.ForeignKey(Procedure, on_delete=models.PROTECT, related_name="editions")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    digest = models.CharField(max_length=64)
    source_document = models.CharField(max_length=300)
    source_dated_on = models.DateField(null=True, blank=True)
    published_at = models.DateTimeField()
    published_by = models.CharField(max_length=150)

    class Meta:
        ordering = ["procedure", "-number"]
        constraints = [
            models.UniqueConstraint(fields=["procedure", "number"], name="procedure_edition_once")
        ]

    def __str__(self) -> str:
        return f"{self.procedure_id} edition {self.number}"
