"""Tells one receiver of one event: a hint to come and read, signed."""

from __future__ import annotations

import hashlib
import hmac
import json
import time
import urllib.error
import urllib.request
from http.client import HTTPException
from typing import Any, Final

from django.conf import settings
from django.urls import NoReverseMatch, reverse
from django.utils import timezone

from reports.models import WebhookEndpoint
from shopcal.history.models import Event

TIMEOUT_SECONDS: Final = 5
SIGNATURE_HEADER: Final = "Shopcal-Signature"
TIMESTAMP_HEADER: Final = "Shopcal-Timestamp"
DELIVERY_HEADER: Final = "Shopcal-Delivery"
_ERROR_LENGTH: Final = 300


class DeliveryFailed(RuntimeError):
    """The receiver did not answer with success; the outbox tries again later."""


class _NoRedirects(urllib.request.HTTPRedirectHandler):
    """A signed body goes to the address that was entered, and nowhere else."""

    def redirect_request(self, *args: Any, **kwargs: Any) -> None:
        return None


_opener = urllib.request.build_opener(_NoRedirects)


def deliver(*, endpoint_id: int, seq: int) -> None:
    """Tell the receiver, at least once; it drops repeats by the delivery's name.

    Nothing happens where the receiver was removed or switched off meanwhile.

    Raises:
        DeliveryFailed: no answer in time, or one that is not 2xx.
    """
    endpoint = WebhookEndpoint.objects.filter(pk=endpoint_id, active=True).first()
    if endpoint is None:
        return
    event = Event.objects.for_shop(endpoint.shop_id).get(seq=seq)
    status, error = _post(endpoint, body_of(event), f"{endpoint.pk}-{seq}")
    WebhookEndpoint.objects.filter(pk=endpoint.pk).update(
        last_status=status,
        last_error=error[:_ERROR_LENGTH],
        **({} if error else {"last_delivered_at": timezone.now()}),
    )
    if error:
        raise DeliveryFailed(error)


def body_of(event: Event) -> bytes:
    """What a receiver reads: what kind of thing happened to what. The data is behind the link."""
    body = {
        "kind": event.kind,
        "subject": event.subject,
        "visit_id": event.visit_id,
        "seq": event.seq,
        "at": event.at.isoformat(),
        "link": _link(event.visit_id),
    }
    return json.dumps(body, separators=(",", ":"), sort_keys=True).encode()


def signature(secret: str, timestamp: str, body: bytes) -> str:
    """HMAC-SHA256 (RFC 2104) in hexadecimal over the timestamp, a full stop and the body."""
    return hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def _post(endpoint: WebhookEndpoint, body: bytes, name: str) -> tuple[int | None, str]:
    """The status answered, None without an answer, and what went wrong, "" for nothing."""
    timestamp = str(int(time.time()))
    request = urllib.request.Request(  # noqa: S310 - only http and https addresses are taken in
        endpoint.url,
        data=body,
        method="POST",
        headers={
            "Content-Type": "application/json",
            "User-Agent": "shopcal",
            TIMESTAMP_HEADER: timestamp,
            SIGNATURE_HEADER: f"sha256={signature(endpoint.secret, timestamp, body)}",
            DELIVERY_HEADER: name,
        },
    )
    try:
        with _opener.open(request, timeout=TIMEOUT_SECONDS) as answer:
            return answer.status, ""
    except urllib.error.HTTPError as fault:
        fault.close()
        return fault.code, f"The receiver answered {fault.code}."
    except (OSError, HTTPException, ValueError) as fault:
        return None, f"The receiver could not be reached: {fault}"


def _link(visit_id: int | None) -> str:
    if visit_id is None:
        return ""
    for name, kwargs in (
        ("api:visit-detail", {"pk": visit_id}),
        ("visit-detail", {"visit_id": visit_id}),
    ):
        try:
            return settings.PUBLIC_URL + reverse(name, kwargs=kwargs)
        except NoReverseMatch:
            continue
    return ""
