"""Records of visits: list, read, issue."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from jobs.models import Visit
from reports.models import Record
from reports.services.record_mail import file_name
from reports.services.records import issue_record, print_once
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet
from shopcal.errors import FieldError, Invalid


class RecordIn(serializers.Serializer[Any]):
    visit = serializers.IntegerField(min_value=1, max_value=2**63 - 1)
    mail_to = serializers.EmailField(required=False, allow_blank=True, default="", max_length=254)
    reason = serializers.CharField(
        required=False,
        allow_blank=True,
        default="",
        max_length=300,
        help_text="Why it takes the place of the record before; needed where there is one.",
    )


class RecordListed(serializers.ModelSerializer[Record]):
    supersedes = serializers.PrimaryKeyRelatedField[Record](read_only=True)
    superseded_by = serializers.SerializerMethodField()
    is_printed = serializers.SerializerMethodField(help_text="The PDF is kept already.")
    pdf = serializers.SerializerMethodField(help_text="Address of the PDF.")

    class Meta:
        model = Record
        fields: tuple[str, ...] = (
            "id",
            "visit",
            "number",
            "issued_at",
            "issued_by",
            "supersedes",
            "supersede_reason",
            "superseded_by",
            "mail_to",
            "content_digest",
            "pdf_digest",
            "is_printed",
            "pdf",
        )
        read_only_fields = fields

    def get_superseded_by(self, record: Record) -> int | None:
        later = getattr(record, "superseded_by", None)
        return later.pk if later is not None else None

    def get_is_printed(self, record: Record) -> bool:
        return bool(record.pdf_digest)

    def get_pdf(self, record: Record) -> str:
        return reverse("api:record-pdf", kwargs={"pk": record.pk}, request=self.context["request"])


class RecordOut(RecordListed):
    class Meta(RecordListed.Meta):
        fields = (*RecordListed.Meta.fields, "content")
        read_only_fields = fields


class RecordFilter(django_filters.FilterSet):
    visit = django_filters.NumberFilter(field_name="visit_id")
    current = django_filters.BooleanFilter(
        field_name="superseded_by", lookup_expr="isnull", label="Only those not superseded."
    )

    class Meta:
        model = Record
        fields: tuple[str, ...] = ()


class PdfRenderer(BaseRenderer):
    """Names the media type for content negotiation; the view writes the bytes itself."""

    media_type = "application/pdf"
    format = "pdf"
    charset = None
    render_style = "binary"

    def render(
        self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None
    ) -> Any:
        return data


class Records(ListRows, ReadRow, ShopViewSet):
    """What was issued for visits. A record is superseded by the next one, never changed."""

    queryset = Record.objects.select_related("superseded_by").defer(
        "pdf", "superseded_by__pdf", "superseded_by__content"
    )
    serializer_class = RecordOut
    filterset_class = RecordFilter
    ordering = ("-issued_at", "-id")
    detail_route = "api:record-detail"
    actions = {
        "list": Action.SEE_RECORD,
        "retrieve": Action.SEE_RECORD,
        "create": Action.ISSUE_RECORD,
        "pdf": Action.SEE_RECORD,
    }

    def get_queryset(self) -> QuerySet[Record]:
        rows: QuerySet[Record] = super().get_queryset()
        return rows.defer("content", "pdf") if self.action == "list" else rows

    def get_serializer_class(self) -> type[RecordListed]:
        return RecordListed if self.action == "list" else RecordOut

    @extend_schema(request=RecordIn, responses={201: RecordOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Issue the record of a visit that is ready. It is printed, and mailed, a little later."""
        given = self.read(RecordIn)
        visit = Visit.objects.for_shop(self.actor.shop_id).filter(pk=given.pop("visit")).first()
        if visit is None:
            raise Invalid(
                "invalid",
                "Some of what was given is wrong.",
                errors=[FieldError("visit", "There is no such visit in this shop.", "its id")],
            )
        return self.created(issue_record(by=self.actor, visit=visit, **given))

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY})
    @action(detail=True, methods=["get"], url_path="pdf", renderer_classes=[PdfRenderer])
    def pdf(self, request: Request, pk: str) -> HttpResponse:
        """The PDF; one that is not printed yet is printed now."""
        record = self.get_object()
        answer = HttpResponse(print_once(record), content_type=PdfRenderer.media_type)
        answer["Content-Disposition"] = f'inline; filename="{file_name(record)}"'
        return answer
