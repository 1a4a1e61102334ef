"""Which mail has left."""

from __future__ import annotations

from django.db import models
from django.utils import timezone


class SentMail(models.Model):
    """One mail the mail server has accepted; its ``message_id`` is unique, so it is sent once."""

    shop = models.ForeignKey(
        "accounts.Shop", null=True, blank=True, on_delete=models.CASCADE, related_name="+"
    )
    message_id = models.CharField(max_length=255, unique=True)
    to = models.JSONField(default=list)
    subject = models.CharField(max_length=255)
    sent_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        ordering = ["-sent_at", "-id"]

    def __str__(self) -> str:
        return f"{self.subject} to {', '.join(self.to)}"
