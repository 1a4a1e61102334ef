"""A part of the surveys page: what the procedures in force say of each bay."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from bays.floor.words import Units
from bays.selectors.floor import current_floor
from jobs.models import VehicleModel
from jobs.planning.ground_table import ground_table
from shopcal.accounts.pages.guards import allowed
from shopcal.accounts.permissions import Action
from shopcal.accounts.requests import MemberRequest


@require_safe
@allowed(Action.SEE_DAY_BOARD)
def ground(request: MemberRequest) -> HttpResponse:
    """Yes, no or unknown for every bay and procedure; of one kind of vehicle where asked."""
    shop = request.membership.shop
    models = VehicleModel.objects.for_shop(shop.pk)
    code = request.GET.get("vehicle", "")
    vehicle = models.filter(code=code).first() if code else None
    units: Units = "us" if shop.units == "us" else "metric"
    table = ground_table(current_floor(shop.pk), units, vehicle)
    context = {"table": table, "models": models, "vehicle": vehicle}
    return render(request, "jobs/_ground.html", context)
