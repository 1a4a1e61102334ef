"""What upkeep is due: the list a person works through."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.equipment import DUE_STATES, DueOut
from bays.selectors.equipment import due_list
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopApiView
from shopcal.errors import FieldError, Invalid


class UnitDueOut(DueOut):
    unit = serializers.IntegerField(source="unit.pk")
    unit_code = serializers.CharField(source="unit.code")
    unit_name = serializers.CharField(source="unit.name")


class UpkeepDueOut(serializers.Serializer[Any]):
    today = serializers.DateField(help_text="The shop's calendar day.")
    due = UnitDueOut(many=True)


class UpkeepDue(ShopApiView):
    actions = {"get": Action.SEE_DAY_BOARD}

    @extend_schema(
        operation_id="upkeep_due",
        parameters=[
            OpenApiParameter(
                "state", enum=[value for value, _ in DUE_STATES], description="Only these."
            )
        ],
        responses=UpkeepDueOut,
    )
    def get(self, request: Request) -> Response:
        """Every rule of every unit, overdue first, then by the day it falls due."""
        state = request.query_params.get("state")
        states = [value for value, _ in DUE_STATES]
        if state is not None and state not in states:
            fault = FieldError("state", "There is no such state.", f"one of {', '.join(states)}")
            raise Invalid("invalid", "Some of what was given is wrong.", errors=[fault])
        shop = Shop.objects.get(pk=self.actor.shop_id)
        today = timezone.now().astimezone(shop.zone).date()
        rows = [row for row in due_list(shop.pk, today) if state is None or row.due.state == state]
        return Response(UpkeepDueOut({"today": today, "due": rows}).data)
