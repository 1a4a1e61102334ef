"""New plans that wait to be accepted, and those made at once."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import QuerySet

from jobs.models import Proposal
from shopcal.errors import NotFound

# What was made at once is told on the board, and may be taken back, for so long.
TOLD_FOR = timedelta(hours=2)
ASKED_AGAIN_AFTER = timedelta(minutes=15)


def open_proposals(shop_id: int) -> QuerySet[Proposal]:
    """Those that wait, the latest first."""
    return Proposal.objects.for_shop(shop_id).filter(state=Proposal.State.OPEN)


def last_applied(shop_id: int, now: datetime) -> Proposal | None:
    """The latest new plan that was made at once, while it is news."""
    return (
        Proposal.objects.for_shop(shop_id)
        .filter(state=Proposal.State.APPLIED, made_at__gte=now - TOLD_FOR)
        .first()
    )


def proposal_of(shop_id: int, number: int) -> Proposal:
    """Raises NotFound."""
    found = Proposal.objects.for_shop(shop_id).filter(pk=number).first()
    if found is None:
        raise NotFound("no_proposal", "There is no such proposal.")
    return found


def waits_for(shop_id: int, kind: str, subject: str, now: datetime) -> bool:
    """Whether somebody is being asked about this very thing, and was lately."""
    asked = open_proposals(shop_id).filter(
        made_at__gt=now - ASKED_AGAIN_AFTER, cause__kind=kind, cause__subject=subject
    )
    return asked.exists()
