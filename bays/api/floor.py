"""Floor plan editions, surveys of the floor, and the zones that can be held."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.models import FloorPlanEdition, FloorSurvey, Resource, ResourceKind
from bays.selectors.floor import current_floor
from bays.services.floor import publish_floor_plan, record_survey
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


class PointField(serializers.ListField):
    child = serializers.FloatField(min_value=-1e6, max_value=1e6)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_length=3, max_length=3, **kwargs)


class SurveyOut(serializers.ModelSerializer[FloorSurvey]):
    points = serializers.ListField(
        child=PointField(), help_text="[x_mm, y_mm, height_mm] in the floor plan's frame."
    )

    class Meta:
        model = FloorSurvey
        fields = (
            "id", "surveyed_on", "instrument", "reading_uncertainty_mm", "points", "recorded_by",
        )  # fmt: skip
        read_only_fields = fields


class SurveyIn(serializers.Serializer[Any]):
    surveyed_on = serializers.DateField()
    instrument = serializers.CharField(max_length=120)
    reading_uncertainty_mm = serializers.FloatField(
        default=0.5, min_value=0, max_value=100, help_text="Standard uncertainty of one height."
    )
    points = serializers.ListField(
        child=PointField(),
        min_length=3,
        max_length=20_000,
        help_text="[x_mm, y_mm, height_mm] in the floor plan's frame.",
    )


class Surveys(ListRows, ReadRow, ShopViewSet):
    """How level the floor is, as it was read; the newest survey counts."""

    queryset = FloorSurvey.objects.all()
    serializer_class = SurveyOut
    ordering = ("-surveyed_on", "-id")
    detail_route = "api:survey-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_FLOOR_PLAN,
    }

    @extend_schema(request=SurveyIn, responses={201: SurveyOut})
    @idempotent
    def create(self, request: Request) -> Response:
        return self.created(record_survey(**self.read(SurveyIn), by=self.actor))


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
