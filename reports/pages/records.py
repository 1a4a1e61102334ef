"""The records of a visit: see, issue, print."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.models import Visit
from reports.selectors.records import record_of, records_of_visit
from reports.services.record_mail import file_name
from reports.services.records import issue_record, print_once
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action, may
from shopcal.accounts.requests import MemberRequest
from shopcal.errors import NotFound, Refusal


@require_safe
@allowed(Action.SEE_RECORD)
def record_pdf(request: MemberRequest, record_id: int) -> HttpResponse:
    """The PDF; one that the worker has not printed yet is printed now."""
    record = record_of(request.actor.shop_id, record_id)
    answer = HttpResponse(print_once(record), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{file_name(record)}"'
    answer["Cache-Control"] = "private, max-age=86400, immutable"
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@allowed(Action.SEE_RECORD)
def visit_records(request: MemberRequest, visit_id: int) -> HttpResponse:
    """What was issued for a visit; POST issues the next one."""
    visit = _visit(request, visit_id)
    if request.method != "POST":
        return _page(request, visit)
    given = {name: request.POST.get(name, "") for name in ("mail_to", "reason")}
    try:
        issue_record(by=request.actor, visit=visit, **given)
    except Refusal as refusal:
        return _page(request, visit, refusal=refusal, given=given)
    if request.htmx:
        return _page(request, visit)
    return HttpResponseRedirect(reverse("visit-records", args=[visit_id]))


def _page(
    request: MemberRequest,
    visit: Visit,
    *,
    refusal: Refusal | None = None,
    given: dict[str, str] | None = None,
) -> HttpResponse:
    context: dict[str, Any] = {
        "visit": visit,
        "rows": records_of_visit(request.actor.shop_id, visit.pk),
        "may_issue": may(request.actor, Action.ISSUE_RECORD),
        "given": given or {"mail_to": visit.customer_email, "reason": ""},
        "refusal": refusal,
        "zone": request.membership.shop.time_zone,
    }
    part = "reports/_visit_records.html" if request.htmx else "reports/visit_records.html"
    return render(request, part, context, status=refusal.status if refusal else 200)


def _visit(request: MemberRequest, visit_id: int) -> Visit:
    visit = (
        Visit.objects.for_shop(request.actor.shop_id)
        .select_related("vehicle")
        .filter(pk=visit_id)
        .first()
    )
    if visit is None:
        raise NotFound("missing", "There is no such visit in this shop.")
    return visit
