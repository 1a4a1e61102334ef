"""Issued records of visits: superseded, never edited."""

from __future__ import annotations

from django.db import models

from jobs.models import Visit
from shopcal.accounts.scoping import ShopOwned


class Record(ShopOwned):
    """One issued document of a visit, with the content it was printed from."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="records")
    number = models.PositiveSmallIntegerField()
    content = models.JSONField()
    content_digest = models.CharField(max_length=64)
    pdf = models.BinaryField(null=True, blank=True)
    pdf_digest = models.CharField(max_length=64, blank=True)
    issued_at = models.DateTimeField()
    issued_by = models.CharField(max_length=150)
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="superseded_by"
    )
    supersede_reason = models.CharField(max_length=300, blank=True)
    mail_to = models.EmailField(blank=True)  # whether it has left: SentMail knows

    class Meta:
        ordering = ["visit", "number"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="record_number_once")
        ]

    def __str__(self) -> str:
        return f"record {self.number} of visit {self.visit_id}"
