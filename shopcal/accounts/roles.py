"""The places a person can have in a shop."""

from __future__ import annotations

from django.db.models import TextChoices


class Role(TextChoices):
    SERVICE_WRITER = "service_writer", "service writer"
    TECHNICIAN = "technician", "technician"
    MANAGER = "manager", "manager"
