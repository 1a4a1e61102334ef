"""When the clock owes something next."""

from __future__ import annotations

from django.db import models


class Timer(models.Model):
    """One repeating job. The row, not any process, remembers when it is due."""

    name = models.CharField(max_length=80, unique=True)
    next_run_at = models.DateTimeField(db_index=True)
    every_seconds = models.PositiveIntegerField()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return f"{self.name} every {self.every_seconds} s"
