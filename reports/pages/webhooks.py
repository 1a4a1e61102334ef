"""Webhooks of the shop: add one (its secret is shown once), see how it goes, remove it."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from reports.models import WebhookEndpoint
from reports.services.webhooks import PREFIXES, add_endpoint, remove_endpoint
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import Refusal

KINDS = {prefix: f"{prefix.rstrip('.')}s" for prefix in PREFIXES}


@never_cache  # the answer to POST holds a secret
@require_http_methods(["GET", "HEAD", "POST"])
@allowed(Action.MANAGE_WEBHOOKS)
def webhooks(request: MemberRequest) -> HttpResponse:
    """The list, with a form on top; POST adds one and shows its secret, this once."""
    if request.method != "POST":
        return _page(request)
    url, kinds = request.POST.get("url", ""), request.POST.getlist("kinds")
    try:
        new = add_endpoint(by=request.actor, url=url, kinds=kinds)
    except Refusal as refusal:
        given = {"url": url, "kinds": kinds}
        return _page(request, status=refusal.status, refusal=refusal, given=given)
    return _page(request, status=201, new=new)


@require_POST
@allowed(Action.MANAGE_WEBHOOKS)
def remove_webhook(request: MemberRequest, endpoint_id: int) -> HttpResponse:
    """End one now."""
    remove_endpoint(by=request.actor, endpoint_id=endpoint_id)
    return HttpResponseRedirect(reverse("webhooks"))


def _page(request: MemberRequest, *, status: int = 200, **extra: Any) -> HttpResponse:
    context = {
        "rows": WebhookEndpoint.objects.for_shop(request.actor.shop_id),
        "kinds": KINDS.items(),
        "given": {"url": "", "kinds": []},
        "zone": request.membership.shop.time_zone,
        **extra,
    }
    return render(request, "reports/webhooks.html", context, status=status)
