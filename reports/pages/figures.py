"""The manager's page: what is late and why, then how the week goes."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from jobs.drawing import UseMeters, UseRow, WeekBars, WeekRow, draw_use, draw_weeks
from reports.figures import Use
from reports.selectors.figures import Period, Work, this_and_last_week, use_of_shop, work_of
from reports.selectors.late import late_visits
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest


@require_safe
@allowed(Action.SEE_FIGURES)
def figures(request: MemberRequest) -> HttpResponse:
    """Today and this week; nothing is stored, all of it is counted when asked for."""
    shop, now = request.membership.shop, timezone.now()
    local = now.astimezone(shop.zone)
    use = use_of_shop(shop, Period(local.date(), local.date(), shop.zone))
    this, last = (work_of(shop.pk, p, now) for p in this_and_last_week(shop.zone, now))
    late = late_visits(shop.pk, shop.zone, now)
    context = {
        "now": local,
        "late": late,
        "late_count": sum(row.is_late for row in late),
        "risk_count": sum(not row.is_late for row in late),
        "this": this,
        "last": last,
        "bays": _meters("bays", "Bays today", use.bays),
        "people": _meters("people", "Technicians today", use.technicians),
        "weeks": None if this.is_empty and last.is_empty else _weeks(this, last),
        "until": _until(local),
        "zone": shop.time_zone,
    }
    part = "reports/_figures.html" if request.htmx else "reports/figures.html"
    return render(request, part, context)


def _meters(name: str, title: str, uses: tuple[Use, ...]) -> SafeString | None:
    rows = tuple(UseRow(use.name, use.share or 0.0, use.says) for use in uses)
    return draw_use(UseMeters(title, rows, id=f"use-{name}")) if rows else None


def _weeks(this: Work, last: Work) -> SafeString:
    def row(name: str, one: int, other: int) -> WeekRow:
        return WeekRow(name, one, other, str(one), str(other))

    return draw_weeks(
        WeekBars(
            "This week against last, up to the same weekday and time",
            (
                row("Vehicles released", this.released_count, last.released_count),
                row("Promises kept", this.promises.hits, last.promises.hits),
                row("Right first time", this.first_time.hits, last.first_time.hits),
                row("Attempts not passed", this.rework_count, last.rework_count),
            ),
        )
    )


def _until(local: datetime) -> str:
    return f"{local:%A} {local:%H:%M}"
