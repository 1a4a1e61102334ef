"""The shop's procedures, their editions, and the work that calls for them."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import Max
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdFilter
from jobs.models import Procedure, ProcedureEdition
from jobs.procedures import SCHEMA, WORK_CODES
from jobs.services.procedures import publish_edition, retire_procedure
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.permissions import MEMBER
from shopcal.api.views import ListRows, ReadRow, ShopApiView, ShopViewSet


class WorkCodeOut(serializers.Serializer[Any]):
    code = serializers.CharField()
    says = serializers.CharField()


class WorkCodes(ShopApiView):
    actions = {"get": MEMBER}

    @extend_schema(operation_id="work_codes", responses=WorkCodeOut(many=True))
    def get(self, request: Request) -> Response:
        """The work and events that can make a calibration necessary."""
        return Response([{"code": code, "says": says} for code, says in WORK_CODES.items()])


class ProcedureSchema(ShopApiView):
    actions = {"get": MEMBER}

    @extend_schema(operation_id="procedure_schema", responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """The JSON Schema of a procedure edition's content."""
        return Response(SCHEMA)


@extend_schema_field(OpenApiTypes.OBJECT)
class ContentField(serializers.JSONField):
    """A procedure edition, as the schema at `procedure-schema/` describes it."""


class ProcedureOut(serializers.ModelSerializer[Procedure]):
    newest_edition = serializers.IntegerField(
        source="newest", allow_null=True, help_text="The number of the newest edition."
    )

    class Meta:
        model = Procedure
        fields = ("id", "code", "name", "system", "method", "retired_at", "newest_edition")
        read_only_fields = fields


class EditionRow(serializers.ModelSerializer[ProcedureEdition]):
    procedure = serializers.IntegerField(source="procedure_id")
    code = serializers.CharField(source="procedure.code")

    class Meta:
        model = ProcedureEdition
        fields: tuple[str, ...] = (
            "id", "procedure", "code", "number", "digest", "source_document", "source_dated_on",
            "published_at", "published_by",
        )  # fmt: skip
        read_only_fields = fields


class EditionOut(EditionRow):
    content = ContentField(read_only=True)

    class Meta(EditionRow.Meta):
        fields = (*EditionRow.Meta.fields, "content")
        read_only_fields = fields


class EditionIn(serializers.Serializer[Any]):
    content = ContentField()


class ProcedureFilter(django_filters.FilterSet):
    retired = django_filters.BooleanFilter(
        field_name="retired_at", lookup_expr="isnull", exclude=True
    )

    class Meta:
        model = Procedure
        fields = ("code", "system", "method", "retired")


class Procedures(ListRows, ReadRow, ShopViewSet):
    queryset = Procedure.objects.annotate(newest=Max("editions__number"))
    serializer_class = ProcedureOut
    filterset_class = ProcedureFilter
    ordering = ("code", "id")
    detail_route = "api:procedure-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "retire": Action.PUBLISH_PROCEDURE,
    }

    @extend_schema(request=None, responses=ProcedureOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def retire(self, request: Request, pk: str) -> Response:
        """Offer it no longer; what was done by it stays. Doing it twice changes nothing."""
        retire_procedure(procedure=self.get_object(), by=self.actor)
        return self.shown(self.get_object())


class EditionFilter(django_filters.FilterSet):
    procedure = IdFilter(field_name="procedure_id")
    code = django_filters.CharFilter(field_name="procedure__code")

    class Meta:
        model = ProcedureEdition
        fields = ("procedure", "code")


class ProcedureEditions(ListRows, ReadRow, ShopViewSet):
    """Editions are never changed: what is written anew makes the next one."""

    queryset = ProcedureEdition.objects.select_related("procedure")
    serializer_class = EditionOut
    filterset_class = EditionFilter
    ordering = ("-published_at", "-id")
    detail_route = "api:procedure-edition-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "create": Action.PUBLISH_PROCEDURE,
    }

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        return rows.defer("content") if self.action == "list" else rows

    def get_serializer_class(self) -> Any:
        return EditionRow if self.action == "list" else EditionOut

    @extend_schema(request=EditionIn, responses={201: EditionOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Publish an edition. Content equal to the newest edition's makes no new one."""
        return self.created(publish_edition(**self.read(EditionIn), by=self.actor))
