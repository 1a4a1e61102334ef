"""A new plan that waits for somebody's word, or was made without it and may be taken back."""

from __future__ import annotations

from django.db import models

from shopcal.accounts.scoping import ShopOwned


class Proposal(ShopOwned):
    """What broke the plan, and the rows that would repair it beside those they take the place of.

    ``plan_mark`` names the plan in force it was made for: of another plan it is out of date.
    ``cause`` says what broke it, ``before`` and ``after`` are the planner's rows of the visits
    that change; all plain JSON.
    """

    class State(models.TextChoices):
        OPEN = "open", "waits"
        APPLIED = "applied", "made at once"
        ACCEPTED = "accepted", "accepted"
        PART = "part", "accepted in part"
        DECLINED = "declined", "left as it was"
        STALE = "stale", "out of date"
        UNDONE = "undone", "taken back"

    why = models.CharField(max_length=400)
    cause = models.JSONField(default=dict)
    plan_mark = models.CharField(max_length=40)
    before = models.JSONField(default=list)
    after = models.JSONField(default=list)
    changes = models.JSONField(default=list)  # in words, as they were proposed
    promises = models.JSONField(default=list)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    made_by = models.CharField(max_length=150)
    made_at = models.DateTimeField()
    ended_by = models.CharField(max_length=150, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["shop", "state"])]

    def __str__(self) -> str:
        return self.why
