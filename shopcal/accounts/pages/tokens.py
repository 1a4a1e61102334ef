"""A person's own API tokens: make (shown once), see, revoke."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.accounts.selectors.tokens import tokens_of
from shopcal.accounts.services.tokens import create_token, revoke_token
from shopcal.errors import Invalid

LIFETIMES = {"30": "30 days", "365": "a year", "": "until revoked"}


@never_cache  # the answer to POST holds a secret
@require_http_methods(["GET", "POST"])
@allowed(Action.MANAGE_OWN_TOKENS)
def tokens(request: MemberRequest) -> HttpResponse:
    """The list, with a form on top; POST makes a token and shows it, this once."""
    if request.method != "POST":
        return _page(request)
    try:
        new = create_token(
            name=request.POST.get("name", ""),
            expires_at=_end(request.POST.get("days", "")),
            by=request.actor,
        )
    except Invalid as refusal:
        given = {"name": request.POST.get("name", ""), "days": request.POST.get("days", "")}
        return _page(request, status=422, errors=refusal.errors, given=given)
    return _page(request, status=201, new=new)


@require_POST
@allowed(Action.MANAGE_OWN_TOKENS)
def revoke(request: MemberRequest, token_id: int) -> HttpResponse:
    """End one token now."""
    revoke_token(token_id=token_id, by=request.actor)
    return HttpResponseRedirect(reverse("my-tokens"))


def _page(request: MemberRequest, *, status: int = 200, **extra: Any) -> HttpResponse:
    now = timezone.now()
    rows = [
        {"token": token, "state": _state(token.revoked_at, token.expires_at, now)}
        for token in tokens_of(request.actor)
    ]
    context = {"rows": rows, "lifetimes": LIFETIMES.items(), "given": {"days": "365"}, **extra}
    return render(request, "accounts/tokens.html", context, status=status)


def _state(revoked_at: datetime | None, expires_at: datetime | None, now: datetime) -> str:
    if revoked_at is not None:
        return "revoked"
    return "expired" if expires_at is not None and expires_at <= now else "active"


def _end(days: str) -> datetime | None:
    """The end of the chosen lifetime; anything not offered counts as the shortest."""
    if days not in LIFETIMES:
        days = "30"
    return timezone.now() + timedelta(days=int(days)) if days else None
