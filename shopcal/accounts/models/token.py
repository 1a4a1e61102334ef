"""Keys with which programs use the API in a person's name."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

from shopcal.accounts.models.membership import Membership


class ApiToken(models.Model):
    """A token of one membership. Only its SHA-256 digest is kept: a stolen database opens nothing.

    A plain digest is enough: the token is 256 random bits, which no one can guess through.
    ``prefix`` is shown in lists so that people can tell their tokens apart.
    """

    membership = models.ForeignKey(Membership, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=12)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-created_at", "-id"]

    def __str__(self) -> str:
        return f"{self.name} ({self.prefix}…)"
