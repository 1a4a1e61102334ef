"""Too many wrong passwords: who is counted, and what they are told."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from axes.helpers import get_client_ip_address
from axes.models import AccessAttempt
from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone


def given_name(request: HttpRequest, credentials: Mapping[str, Any] | None = None) -> str:
    """The address typed in, in one spelling, so that capitals give no further attempts."""
    given = (credentials or {}).get("username") or request.POST.get("username") or ""
    return str(given).strip().lower()


def address_behind_proxy(request: HttpRequest) -> str:
    """The caller's address as the nearest proxy wrote it.

    That proxy appends it last; what stands before it the caller may have made up.
    """
    forwarded = request.headers.get("X-Forwarded-For", "")
    return forwarded.rpartition(",")[2].strip() or request.META.get("REMOTE_ADDR", "")


def opens_again_at(request: HttpRequest, name: str) -> datetime:
    """When this person may try again from this address."""
    last = (
        AccessAttempt.objects.filter(username=name, ip_address=get_client_ip_address(request))
        .order_by("-attempt_time")
        .first()
    )
    return (last.attempt_time if last else timezone.now()) + settings.AXES_COOLOFF_TIME


def locked_out(
    request: HttpRequest,
    response: HttpResponse | None = None,
    credentials: Mapping[str, Any] | None = None,
) -> HttpResponse:
    """429, saying when to try again: the sign-in page for people, problem details for programs."""
    name = given_name(request, credentials)
    opens_at = opens_again_at(request, name)
    seconds = max(1, math.ceil((opens_at - timezone.now()).total_seconds()))
    minutes = math.ceil(seconds / 60)
    says = f"Try again in {minutes} minute{'' if minutes == 1 else 's'}."
    answer: HttpResponse
    if request.accepts("text/html"):
        context = {"locked_says": says, "given_name": name}
        answer = render(request, "accounts/sign_in.html", context, status=429)
    else:
        problem = {
            "type": "about:blank",
            "title": "Too many wrong passwords.",
            "status": 429,
            "code": "too_many_attempts",
            "detail": says,
            "retry_at": opens_at.isoformat(),
        }
        answer = JsonResponse(problem, status=429, content_type="application/problem+json")
    answer["Retry-After"] = str(seconds)
    return answer
