"""Scans before and after, the codes in them, and one compared with the other."""

from __future__ import annotations

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdField, IdFilter, named_row
from bays.models import EquipmentUnit
from jobs.models import Scan, ScanCode, Visit
from jobs.selectors.scans import comparison_of
from jobs.services.scans import explain_code, record_scan
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopViewSet

MOST_CHARACTERS = 200_000


class ScanCodeOut(serializers.ModelSerializer[ScanCode]):
    scan = serializers.IntegerField(source="scan_id")

    class Meta:
        model = ScanCode
        fields = (
            "id", "scan", "module", "code", "failure_type", "status", "blocking", "explanation",
            "cleared_at", "cleared_by",
        )  # fmt: skip
        read_only_fields = fields


class ScanOut(serializers.ModelSerializer[Scan]):
    visit = serializers.IntegerField(source="visit_id")
    tool = serializers.IntegerField(source="tool_id", allow_null=True)
    modules_scanned = serializers.ListField(child=serializers.CharField())
    codes = ScanCodeOut(many=True)

    class Meta:
        model = Scan
        fields = (
            "id", "visit", "kind", "taken_at", "taken_by", "tool", "entered", "modules_scanned",
            "compared_at", "compared_by", "codes",
        )  # fmt: skip
        read_only_fields = fields


class _TextField(serializers.CharField):
    """A list of codes as text; lines are told apart, so it is not trimmed."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            max_length=MOST_CHARACTERS,
            required=False,
            allow_blank=True,
            default="",
            trim_whitespace=False,
            **kwargs,
        )


class ScanIn(serializers.Serializer[Any]):
    """Exactly one of `text`, `csv`, `json` and `none_found`."""

    visit = IdField()
    kind = serializers.ChoiceField(choices=Scan.Kind.choices)
    text = _TextField(help_text="Codes as typed or pasted.")
    csv = _TextField(help_text="With the columns module, code, status.")
    json = _TextField(help_text="The text of a JSON file of ours.")
    none_found = serializers.BooleanField(default=False)
    tool = IdField(required=False, allow_null=True, default=None, help_text="The scan tool used.")


class ExplainIn(serializers.Serializer[Any]):
    why = serializers.CharField(max_length=300, help_text="It is shown on the record.")


class ComparisonOut(serializers.Serializer[Any]):
    """The first pre-scan beside the latest post-scan that counts; codes by what became of them."""

    pre_scan = serializers.IntegerField(source="pre.pk", default=None, allow_null=True)
    post_scan = serializers.IntegerField(source="post.pk", default=None, allow_null=True)
    cleared = ScanCodeOut(many=True)
    remaining = ScanCodeOut(many=True)
    new = ScanCodeOut(many=True)
    unexplained = ScanCodeOut(many=True)


class ScanFilter(django_filters.FilterSet):
    visit = IdFilter(field_name="visit_id")

    class Meta:
        model = Scan
        fields = ("visit", "kind")


class Scans(ListRows, ReadRow, ShopViewSet):
    queryset = Scan.objects.prefetch_related("codes")
    serializer_class = ScanOut
    filterset_class = ScanFilter
    ordering = ("-taken_at", "-id")
    detail_route = "api:scan-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "create": Action.RECORD_SCAN,
        "compare": Action.SEE_VISIT,
    }

    @extend_schema(request=ScanIn, responses={201: ScanOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Enter a scan of all modules. A code gone from a later pre-scan counts as cleared."""
        given = self.read(ScanIn)
        shop_id = self.actor.shop_id
        given["visit"] = named_row(Visit.objects.for_shop(shop_id), "visit", pk=given["visit"])
        if given["tool"] is not None:
            units = EquipmentUnit.objects.for_shop(shop_id)
            given["tool"] = named_row(units, "tool", pk=given["tool"])
        return self.created(record_scan(**given, by=self.actor))

    @extend_schema(responses=ComparisonOut)
    @action(detail=True, methods=["get"])
    def compare(self, request: Request, pk: str) -> Response:
        """The scans of this scan's visit compared."""
        scan: Scan = self.get_object()
        return Response(ComparisonOut(comparison_of(scan.visit)).data)


class ScanCodeFilter(django_filters.FilterSet):
    scan = IdFilter(field_name="scan_id")
    visit = IdFilter(field_name="scan__visit_id")

    class Meta:
        model = ScanCode
        fields = ("scan", "visit", "code", "blocking")


class ScanCodes(ListRows, ReadRow, ShopViewSet):
    queryset = ScanCode.objects.all()
    serializer_class = ScanCodeOut
    filterset_class = ScanCodeFilter
    ordering = ("-id",)
    detail_route = "api:scan-code-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "explain": Action.RECORD_SCAN,
    }

    @extend_schema(request=ExplainIn, responses=ScanCodeOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def explain(self, request: Request, pk: str) -> Response:
        """Write why a code stays in, or came with, the post-scan."""
        code = explain_code(code=self.get_object(), **self.read(ExplainIn), by=self.actor)
        return self.shown(code)
