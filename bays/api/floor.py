"""Floor plan editions, and the zones that can be held."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.models import FloorPlanEdition, Resource, ResourceKind
from bays.selectors.floor import current_floor
from bays.services.floor import publish_floor_plan
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class FloorPlanRow(serializers.ModelSerializer[FloorPlanEdition]):
    """An edition without its drawing."""

    class Meta:
        model = FloorPlanEdition
        fields: tuple[str, ...] = (
            "id", "number", "name", "digest", "published_at", "published_by",
        )  # fmt: skip
        read_only_fields = fields


@extend_schema_field(OpenApiTypes.OBJECT)
class DrawingField(serializers.JSONField):
    """A floor plan's content: name, outline, obstacles, doors, zones, bays; millimetres."""


class FloorPlanOut(FloorPlanRow):
    content = DrawingField(read_only=True)

    class Meta(FloorPlanRow.Meta):
        fields = (*FloorPlanRow.Meta.fields, "content")
        read_only_fields = fields


class FloorPlanIn(serializers.Serializer[Any]):
    content = DrawingField(help_text="Outline, obstacles, doors, zones and bays, in millimetres.")
    name = serializers.CharField(
        max_length=120, required=False, help_text="In place of the drawing's own name."
    )


class FloorPlans(ListRows, ReadRow, ShopViewSet):
    """Editions are never changed: a new drawing makes the next one."""

    queryset = FloorPlanEdition.objects.all()
    serializer_class = FloorPlanOut
    ordering = ("-number",)
    detail_route = "api:floor-plan-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "current": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_FLOOR_PLAN,
    }

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows.defer("content") if self.action == "list" else rows

    def get_serializer_class(self) -> Any:
        return FloorPlanRow if self.action == "list" else FloorPlanOut

    @extend_schema(responses=FloorPlanOut)
    @action(detail=False, methods=["get"], pagination_class=None)
    def current(self, request: Request) -> Response:
        """The edition in force."""
        return self.shown(current_floor(self.actor.shop_id).edition)

    @extend_schema(request=FloorPlanIn, responses={201: FloorPlanOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Put a drawing in force. One equal to the edition in force makes no new one."""
        return self.created(publish_floor_plan(**self.read(FloorPlanIn), by=self.actor))


class ZoneOut(serializers.ModelSerializer[Resource]):
    class Meta:
        model = Resource
        fields = ("id", "code", "name", "active")
        read_only_fields = fields


class Zones(ListRows, ReadRow, ShopViewSet):
    """Floor that only one vehicle may use at a time; inactive once no plan in force has it."""

    queryset = Resource.objects.filter(kind=ResourceKind.ZONE)
    serializer_class = ZoneOut
    ordering = ("code", "id")
    detail_route = "api:zone-detail"
    actions = dict.fromkeys(("list", "retrieve"), Action.SEE_DAY_BOARD)
