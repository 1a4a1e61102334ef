"""Puts who acts on every request, and turns refusals into pages."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shopcal.accounts.actor import Actor
from shopcal.accounts.models import User
from shopcal.accounts.requests import MemberRequest
from shopcal.accounts.selectors.memberships import membership_in_session
from shopcal.errors import Refusal

__all__ = ["ActorMiddleware", "MemberRequest", "RefusalMiddleware"]

Answer = Callable[[HttpRequest], HttpResponse]


class ActorMiddleware:
    """Sets ``request.membership`` and ``request.actor`` from the session.

    Both are None for strangers, who cost no query, and for people who have no shop chosen.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        membership = (
            membership_in_session(user, request.session) if isinstance(user, User) else None
        )
        request.membership = membership  # type: ignore[attr-defined]
        request.actor = Actor.of(membership) if membership else None  # type: ignore[attr-defined]
        return self.get_response(request)


class RefusalMiddleware:
    """Answers a refusal that a page did not handle itself: its status, and its words on a page.

    A part of a page asked for by htmx gets the words alone. The API answers its own refusals.
    """

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponse | None:
        if not isinstance(fault, Refusal):
            return None
        template = "refused_part.html" if getattr(request, "htmx", False) else "refused.html"
        return render(request, template, {"refusal": fault}, status=fault.status)
