"""What pages ask about live events: a new ticket, and, where streams do not pass, what is new."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified, JsonResponse
from django.http.request import split_domain_port
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from shopcal.accounts.actor import Actor
from shopcal.live import feed
from shopcal.live.hub import EVERYTHING
from shopcal.live.tickets import LIVES_SECONDS, issue_ticket


@require_safe
def ticket(request: HttpRequest) -> HttpResponse:
    """Where to listen from now on. Refused to strangers and to those who have left the shop."""
    by = _listener(request)
    if by is None:
        return _stranger()
    return _private(JsonResponse({"url": events_url(request, by), "lives_seconds": LIVES_SECONDS}))


@require_safe
def since(request: HttpRequest, seq: int) -> HttpResponse:
    """What changed after ``seq``; the entity tag is the newest number, so asking again is cheap."""
    by = _listener(request)
    if by is None:
        return _stranger()
    last = feed.last_seq(by.shop_id)
    tag = f'"{by.shop_id}-{last}"'
    if request.headers.get("If-None-Match") == tag:
        return _private(HttpResponseNotModified(), tag)
    return _private(JsonResponse(_news(by.shop_id, seq, last)), tag)


def events_url(request: HttpRequest, by: Actor) -> str:
    """Where this page's browser finds the live process, with a ticket."""
    base = settings.LIVE_URL
    if not base:
        host, _ = split_domain_port(request.get_host())
        base = f"{request.scheme}://{host}:{settings.LIVE_PORT}"
    return f"{base}/events?{urlencode({'ticket': issue_ticket(by)})}"


def _news(shop_id: int, seq: int, last: int) -> dict[str, Any]:
    hints = feed.hints_after(shop_id, seq)
    if len(hints) > feed.MOST_HINTS or seq > last:
        return {"seq": last, "kinds": [EVERYTHING], "subjects": [EVERYTHING]}
    return {
        # Not ``last``: what was committed since that was read is in here too.
        "seq": hints[-1].seq if hints else last,
        "kinds": list(dict.fromkeys(hint.kind for hint in hints)),
        "subjects": list(dict.fromkeys(hint.subject for hint in hints)),
    }


def _listener(request: HttpRequest) -> Actor | None:
    by: Actor | None = getattr(request, "actor", None)
    return by


def _stranger() -> HttpResponse:
    return _private(JsonResponse({"code": "not_signed_in", "title": "Sign in first."}, status=403))


def _private(response: HttpResponse, tag: str = "") -> HttpResponse:
    response["Cache-Control"] = "private, no-cache"
    if tag:
        response["ETag"] = tag
    return response
