"""Questions asked of the planner, their answers, and whether those still hold."""

from __future__ import annotations

import hashlib

from django.db.models import QuerySet

from jobs.models import Step, Study, Visit
from shopcal.errors import NotFound

OPEN_STATES = ("booked", "checked_in", "in_work", "on_hold")


def plan_mark(shop_id: int) -> str:
    """A short name of the plan in force: another whenever a step, a promise or an urgency moves.

    Unlike the plan itself it is read in two queries, so that a page can ask for it often.
    """
    steps = Step.objects.for_shop(shop_id).filter(
        visit__state__in=OPEN_STATES, state__in=(Step.State.PLANNED, Step.State.DOING)
    )
    rows = steps.order_by("id").values_list(
        "id", "state", "starts_at", "ends_at", "technician_id", "unit_codes", "placement_key",
        "pinned",
    )  # fmt: skip
    visits = (
        Visit.objects.for_shop(shop_id)
        .filter(state__in=OPEN_STATES)
        .order_by("id")
        .values_list("id", "promised_at", "weight")
    )
    facts = repr((list(rows), list(visits)))
    return hashlib.sha256(facts.encode()).hexdigest()[:40]


def studies(shop_id: int, kind: Study.Kind) -> QuerySet[Study]:
    """Questions of a kind, the latest first."""
    return Study.objects.for_shop(shop_id).filter(kind=kind).select_related("visit")


def study(shop_id: int, study_id: int) -> Study:
    """One question.

    Raises:
        NotFound: ``no_study``, there is none in this shop.
    """
    found = Study.objects.for_shop(shop_id).filter(pk=study_id).select_related("visit").first()
    if found is None:
        raise NotFound("no_study", "There is no such question in this shop.")
    return found


def help_for(shop_id: int, visit_id: int) -> Study | None:
    """The latest question of what would help this visit; one that was stopped is forgotten."""
    asked = studies(shop_id, Study.Kind.HELP).filter(visit_id=visit_id)
    return asked.exclude(state=Study.State.STOPPED).first()


def is_stale(found: Study, mark: str) -> bool:
    """Whether the plan has moved on since it was asked. Never for a question about the past."""
    return found.kind == Study.Kind.HELP and found.plan_mark != mark
