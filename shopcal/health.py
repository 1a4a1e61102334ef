"""Whether the service is well, for machines that watch it."""

from __future__ import annotations

import hmac
from ipaddress import ip_address

import structlog
from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, HttpResponseForbidden, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

from shopcal import database

log = structlog.get_logger(__name__)


@never_cache
@require_safe
def healthz(request: HttpRequest) -> HttpResponse:
    """200 where the database answers and its guards are in place, else 503; no more than that."""
    try:
        lacking = [guard.name for guard in database.missing(database.kept(), connection)]
    except DatabaseError as fault:
        log.error("database does not answer", fault=str(fault))
        return JsonResponse({"status": "database does not answer"}, status=503)
    if lacking:
        log.error("guards missing", guards=lacking)
        return JsonResponse({"status": "database guards missing"}, status=503)
    return JsonResponse({"status": "ok"})


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Prometheus figures, for this machine, or for whoever shows ``SHOPCAL_METRICS_TOKEN``."""
    if not (_shows_token(request) or _from_this_machine(request)):
        return HttpResponseForbidden("Metrics are for this machine, or with the metrics token.")
    return HttpResponse(generate_latest(), content_type=CONTENT_TYPE_LATEST)


def _shows_token(request: HttpRequest) -> bool:
    given = request.headers.get("Authorization", "").removeprefix("Bearer ")
    wanted = settings.METRICS_TOKEN
    return bool(wanted) and hmac.compare_digest(given.encode(), wanted.encode())


def _from_this_machine(request: HttpRequest) -> bool:
    """Direct from this machine; a request that came through a proxy did not start here."""
    if settings.METRICS_TOKEN or "X-Forwarded-For" in request.headers:
        return False
    try:
        return ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False
