"""Receivers of what happens in a shop, and turning its history into deliveries."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from django.core.exceptions import ValidationError
from django.core.validators import URLValidator
from django.db import transaction

from reports.models import WebhookCursor, WebhookEndpoint
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action, require
from shopcal.errors import Conflict, FieldError, Invalid, NotFound
from shopcal.history.record import record_event
from shopcal.history.selectors import events_after, latest_seqs
from shopcal.outbox import enqueue
from shopcal.retrying import retried

DELIVER: Final = "webhook.deliver"
PREFIXES: Final = ("visit.", "calibration.", "step.", "record.", "plan.")
MOST_ENDPOINTS: Final = 20
URL_LENGTH: Final = 400
_SECRET_BYTES: Final = 32


class NewEndpoint(NamedTuple):
    """An endpoint just added; ``secret`` is shown this once."""

    endpoint: WebhookEndpoint
    secret: str


def add_endpoint(*, by: Actor, url: str, kinds: Sequence[str] = ()) -> NewEndpoint:
    """Add a receiver, told of everything that happens from now on.

    ``kinds`` are prefixes out of ``PREFIXES``, none meaning all. Addresses in the shop's own
    network are allowed on purpose: the receiver is often a machine in the next room.

    Raises:
        NotAllowed: the role may not. Invalid: no http address, or an unknown kind.
        Conflict: ``too_many_webhooks``.
    """
    require(by, Action.MANAGE_WEBHOOKS)
    url = url.strip()
    faults = [*_url_faults(url), *_kind_faults(kinds)]
    if faults:
        raise Invalid("invalid", "Some of what was given is wrong.", errors=faults)
    return retried(lambda: _add(by, url, sorted(set(kinds))))


@transaction.atomic
def _add(by: Actor, url: str, kinds: list[str]) -> NewEndpoint:
    # The shop's row is locked, so that two managers adding at once are counted one by one.
    Shop.objects.select_for_update().get(pk=by.shop_id)
    there = WebhookEndpoint.objects.for_shop(by.shop_id).count()
    if there >= MOST_ENDPOINTS:
        raise Conflict(
            "too_many_webhooks",
            f"There are {there} webhooks already.",
            detail="Remove one that is no longer needed first.",
        )
    if there == 0:
        # From now on: a receiver is not told what happened before it was asked to listen.
        seq = latest_seqs().get(by.shop_id, 0)
        WebhookCursor.objects.update_or_create(shop_id=by.shop_id, defaults={"seq": seq})
    secret = secrets.token_hex(_SECRET_BYTES)
    endpoint = WebhookEndpoint.objects.create(
        shop_id=by.shop_id, url=url, secret=secret, kinds=kinds
    )
    record_event(
        by=by,
        kind="webhook.added",
        subject=f"webhook:{endpoint.pk}",
        after={"url": url, "kinds": kinds},
    )
    return NewEndpoint(endpoint, secret)


def remove_endpoint(*, by: Actor, endpoint_id: int) -> None:
    """Remove a receiver; deliveries still owed to it are dropped when their turn comes.

    Raises:
        NotAllowed: the role may not. NotFound: no such receiver in this shop.
    """
    require(by, Action.MANAGE_WEBHOOKS)
    with transaction.atomic():
        endpoint = (
            WebhookEndpoint.objects.for_shop(by.shop_id)
            .select_for_update()
            .filter(pk=endpoint_id)
            .first()
        )
        if endpoint is None:
            raise NotFound("missing", "There is no such webhook in this shop.")
        url = endpoint.url
        endpoint.delete()
        record_event(
            by=by, kind="webhook.removed", subject=f"webhook:{endpoint_id}", before={"url": url}
        )


def fan_out() -> int:
    """Owe a delivery for every new event and every receiver that wants it; how many were owed."""
    listening = (
        WebhookEndpoint.objects.filter(active=True).values_list("shop_id", flat=True).distinct()
    )
    heads = latest_seqs()
    told = dict(WebhookCursor.objects.values_list("shop_id", "seq"))
    return sum(
        fan_out_shop(shop_id)
        for shop_id in set(listening)
        if heads.get(shop_id, 0) > told.get(shop_id, 0)
    )


@transaction.atomic
def fan_out_shop(shop_id: int) -> int:
    """The next events of one shop. Cursor and deliveries move together, or not at all."""
    WebhookCursor.objects.get_or_create(shop_id=shop_id, defaults={"seq": 0})
    cursor = WebhookCursor.objects.select_for_update().get(shop_id=shop_id)
    events = events_after(shop_id, cursor.seq)
    endpoints = list(WebhookEndpoint.objects.for_shop(shop_id).filter(active=True))
    owed = 0
    for event in events:
        for endpoint in endpoints:
            if not wants(endpoint, event.kind):
                continue
            enqueue(
                kind=DELIVER,
                key=f"webhook:{endpoint.pk}:{event.seq}",
                shop_id=shop_id,
                payload={"endpoint_id": endpoint.pk, "seq": event.seq},
            )
            owed += 1
    if events:
        cursor.seq = events[-1].seq
        cursor.save(update_fields=["seq"])
    return owed


def wants(endpoint: WebhookEndpoint, kind: str) -> bool:
    """Whether a receiver is told of events of this kind."""
    return kind.startswith(tuple(endpoint.kinds) or PREFIXES) and kind.startswith(PREFIXES)


def _url_faults(url: str) -> list[FieldError]:
    right = "an address like https://receiver.example/shop"
    try:
        URLValidator(schemes=["http", "https"])(url)
        parts = urlsplit(url)
    except (ValidationError, ValueError):
        return [FieldError("url", "This is not a web address.", right)]
    if parts.username or parts.password:
        return [FieldError("url", "Leave name and password out of the address.", right)]
    if len(url) > URL_LENGTH:
        return [FieldError("url", "This is too long.", f"at most {URL_LENGTH} characters")]
    return []


def _kind_faults(kinds: Sequence[str]) -> list[FieldError]:
    return [
        FieldError(f"kinds[{at}]", f"“{kind}” is not told.", "one of " + ", ".join(PREFIXES))
        for at, kind in enumerate(kinds)
        if kind not in PREFIXES
    ]
