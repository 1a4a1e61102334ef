"""The request as pages see it, once who acts has been put on it."""

from __future__ import annotations

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership


class MemberRequest(HttpRequest):
    """A request of a member of a shop: behind ``member_required`` both are there."""

    actor: Actor
    membership: Membership
    htmx: HtmxDetails
