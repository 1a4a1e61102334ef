"""What ``live/_listen.html`` needs to know."""

from __future__ import annotations

from typing import Any

from django import template
from django.http import HttpRequest

from shopcal.accounts.actor import Actor
from shopcal.live.feed import seq_before_page
from shopcal.live.pages import events_url
from shopcal.live.tickets import LIVES_SECONDS

register = template.Library()


@register.simple_tag(takes_context=True)
def live_source(context: template.Context) -> dict[str, Any] | None:
    """Where the reader of this page may listen, and from which event on; None for strangers."""
    request: HttpRequest | None = context.get("request")
    by: Actor | None = getattr(request, "actor", None)
    if request is None or by is None:
        return None
    return {
        "url": events_url(request, by),
        "lives_seconds": LIVES_SECONDS,
        "seq": seq_before_page(by.shop_id),
    }
