"""Opening hours, and days the shop stays shut."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from bays.models import Closure, OpeningHours
from bays.services.hours import OpenWanted, add_closure, remove_closure, set_opening_hours
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopApiView, ShopViewSet


class OpenSpan(serializers.Serializer[Any]):
    weekday = serializers.IntegerField(min_value=0, max_value=6, help_text="0 is Monday.")
    opens = serializers.TimeField(help_text="On the shop's clock.")
    closes = serializers.TimeField()


class OpeningWeek(serializers.Serializer[Any]):
    hours = OpenSpan(many=True)


class OpeningHoursView(ShopApiView):
    """One week; a weekday that is not among the hours is shut."""

    actions = {"get": Action.SEE_DAY_BOARD, "put": Action.EDIT_HOURS}

    @extend_schema(operation_id="opening_hours", responses=OpeningWeek)
    def get(self, request: Request) -> Response:
        return self._week()

    @extend_schema(operation_id="set_opening_hours", request=OpeningWeek, responses=OpeningWeek)
    def put(self, request: Request) -> Response:
        """Set the whole week."""
        wanted = [OpenWanted(**row) for row in self.read(OpeningWeek)["hours"]]
        set_opening_hours(hours=wanted, by=self.actor)
        return self._week()

    def _week(self) -> Response:
        rows = OpeningHours.objects.for_shop(self.actor.shop_id).order_by("weekday", "opens")
        return Response(OpeningWeek({"hours": rows}).data)


class ClosureOut(serializers.ModelSerializer[Closure]):
    class Meta:
        model = Closure
        fields = ("id", "starts_on", "ends_on", "reason")
        read_only_fields = fields


class ClosureIn(serializers.Serializer[Any]):
    starts_on = serializers.DateField()
    ends_on = serializers.DateField(help_text="The last day shut.")
    reason = serializers.CharField(max_length=120)


class ClosureFilter(django_filters.FilterSet):
    ends_from = django_filters.DateFilter(field_name="ends_on", lookup_expr="gte")

    class Meta:
        model = Closure
        fields = ("ends_from",)


class Closures(ListRows, ReadRow, ShopViewSet):
    """Days the shop stays shut, the latest first."""

    queryset = Closure.objects.all()
    serializer_class = ClosureOut
    filterset_class = ClosureFilter
    ordering = ("-starts_on", "-id")
    detail_route = "api:closure-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_HOURS,
        "destroy": Action.EDIT_HOURS,
    }

    @extend_schema(request=ClosureIn, responses={201: ClosureOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Shut the shop; a closure that starts on the same day is changed."""
        return self.created(add_closure(**self.read(ClosureIn), by=self.actor))

    @extend_schema(responses={204: None})
    def destroy(self, request: Request, pk: str) -> Response:
        """Open the shop on these days after all."""
        remove_closure(closure=self.get_object(), by=self.actor)
        return self.gone()
