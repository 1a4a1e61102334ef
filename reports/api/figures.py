"""The shop's figures of any period."""

from __future__ import annotations

import dataclasses
from datetime import date
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from reports.figures import Share, Use, week_of
from reports.selectors.figures import Period, use_of_shop, work_of
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopApiView
from shopcal.errors import FieldError, Invalid

LONGEST_DAYS = 366
_EARLIEST, _LATEST = date(2000, 1, 1), date(2200, 1, 1)


class ShareOut(serializers.Serializer[Share]):
    """``value`` with its 95 % score interval (Wilson 1927), null of no cases."""

    hits = serializers.IntegerField()
    cases = serializers.IntegerField()
    value = serializers.FloatField(allow_null=True)
    lower = serializers.FloatField(allow_null=True)
    upper = serializers.FloatField(allow_null=True)
    says = serializers.CharField()


class UseOut(serializers.Serializer[Use]):
    name = serializers.CharField()
    held_minutes = serializers.IntegerField()
    open_minutes = serializers.IntegerField()
    outside_minutes = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)
    says = serializers.CharField()


class DayOut(serializers.Serializer[Any]):
    on = serializers.DateField()
    count = serializers.IntegerField()


class CauseOut(serializers.Serializer[Any]):
    cause = serializers.CharField()
    count = serializers.IntegerField()
    minutes = serializers.IntegerField()


class FiguresOut(serializers.Serializer[Any]):
    first_on = serializers.DateField()
    last_on = serializers.DateField()
    released = DayOut(many=True)
    promises_kept = ShareOut()
    first_time_through = ShareOut()
    rework_by_cause = CauseOut(many=True)
    bays = UseOut(many=True)
    technicians = UseOut(many=True)


class Figures(ShopApiView):
    actions = {"get": Action.SEE_FIGURES}

    @extend_schema(
        parameters=[
            OpenApiParameter("from", date, description="First shop day; Monday unless given."),
            OpenApiParameter("to", date, description="Last shop day; today unless given."),
        ],
        responses=FiguresOut,
    )
    def get(self, request: Request) -> Response:
        """Figures of a period of shop days, both included, a year at most."""
        shop = Shop.objects.get(pk=self.actor.shop_id)
        now = timezone.now()
        today = now.astimezone(shop.zone).date()
        last_on = _day(request, "to", today)
        first_on = _day(request, "from", week_of(last_on)[0])
        if not 0 <= (last_on - first_on).days < LONGEST_DAYS:
            raise _invalid("from", f"{first_on} to {last_on} is not a period.", "up to a year")
        period = Period(first_on, last_on, shop.zone)
        work, use = work_of(shop.pk, period, now), use_of_shop(shop, period)
        figures = {
            "first_on": first_on,
            "last_on": last_on,
            "released": [dataclasses.asdict(day) for day in work.released],
            "promises_kept": work.promises,
            "first_time_through": work.first_time,
            "rework_by_cause": [dataclasses.asdict(cause) for cause in work.causes],
            "bays": use.bays,
            "technicians": use.technicians,
        }
        return Response(FiguresOut(figures).data)


def _day(request: Request, name: str, otherwise: date) -> date:
    text = request.query_params.get(name)
    if text is None:
        return otherwise
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    if day is None or not _EARLIEST <= day <= _LATEST:
        raise _invalid(name, "This is not a day.", "a day like 2026-11-25")
    return day


def _invalid(path: str, says: str, right: str) -> Invalid:
    return Invalid(
        "invalid", "Some of what was given is wrong.", errors=[FieldError(path, says, right)]
    )
