"""A question that takes the planner a while: asked, worked on in the background, kept."""

from __future__ import annotations

from django.db import models

from jobs.models.visit import Visit
from shopcal.accounts.scoping import ShopOwned


class Study(ShopOwned):
    """What would help a visit, or what if the shop were another, with its answer once it is there.

    ``plan_mark`` names the plan that was in force when it was asked: an answer about another plan
    is out of date. ``question`` and ``answer`` are plain JSON.
    """

    class Kind(models.TextChoices):
        HELP = "help", "what would help"
        WHAT_IF = "what_if", "what if"

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        WORKING = "working", "being worked out"
        DONE = "done", "done"
        FAILED = "failed", "no answer"
        STOPPED = "stopped", "stopped"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.CASCADE, related_name="studies"
    )
    question = models.JSONField(default=dict)
    asks = models.CharField(max_length=200)  # the question in words
    plan_mark = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    done = models.PositiveIntegerField(default=0)
    of = models.PositiveIntegerField(default=0)
    says = models.TextField(blank=True)  # the answer in a sentence, or why there is none
    answer = models.JSONField(null=True, blank=True)
    asked_by = models.CharField(max_length=150)
    asked_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-asked_at", "-id"]
        verbose_name_plural = "studies"
        indexes = [models.Index(fields=["shop", "kind", "visit"])]

    def __str__(self) -> str:
        return self.asks

    @property
    def open(self) -> bool:
        return self.state in (self.State.WAITING, self.State.WORKING)
