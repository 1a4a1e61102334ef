"""Decorators that let only members in, and only those whose role allows it."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.contrib.auth import REDIRECT_FIELD_NAME
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django_htmx.http import HttpResponseClientRedirect

from shopcal.accounts.permissions import Action, require

View = Callable[..., HttpResponse]


def member_required(view: View) -> View:
    """Strangers sign in first, people with no shop chosen choose one; both come back after."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return _first_to(request, "sign-in")
        if getattr(request, "actor", None) is None:
            return _first_to(request, "choose-shop")
        return view(request, *args, **kwargs)

    return guarded


def allowed(action: Action) -> Callable[[View], View]:
    """Like ``member_required``, and answers 403 in words where the role may not do this."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            require(request.actor, action)  # type: ignore[attr-defined]
            return view(request, *args, **kwargs)

        return member_required(guarded)

    return decorate


def _first_to(request: HttpRequest, name: str) -> HttpResponse:
    """Send the browser to a page that leads back; a part fetched by htmx moves the whole page."""
    htmx = getattr(request, "htmx", None)
    if not htmx:
        return HttpResponseRedirect(_leading_back(name, request.get_full_path()))
    # The part's own address would be no page to come back to.
    return HttpResponseClientRedirect(_leading_back(name, htmx.current_url_abs_path or "/"))


def _leading_back(name: str, path: str) -> str:
    return f"{reverse(name)}?{urlencode({REDIRECT_FIELD_NAME: path})}"
