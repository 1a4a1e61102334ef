"""Which shops a person belongs to, and in which one they act now."""

from __future__ import annotations

from django.contrib.sessions.backends.base import SessionBase

from shopcal.accounts.models import Membership, User

SESSION_KEY = "membership"


def memberships_of(user: User) -> list[Membership]:
    """The shops a person belongs to now, by name of shop."""
    found = Membership.objects.filter(user=user, active=True).select_related("shop", "user")
    return list(found.order_by("shop__name"))


def membership_in_session(user: User, session: SessionBase) -> Membership | None:
    """The membership chosen in this session; a person's only one needs no choosing.

    Read from the database at every request, so a changed role or a departure counts at once.
    """
    chosen = session.get(SESSION_KEY)
    if chosen is not None:
        found = (
            Membership.objects.filter(pk=chosen, user=user, active=True)
            .select_related("shop", "user")
            .first()
        )
        if found is not None:
            return found
    every = memberships_of(user)
    return every[0] if len(every) == 1 else None
