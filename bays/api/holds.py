"""What is taken, by whom and when. Holds are made by booking and planning, never by hand."""

from __future__ import annotations

import django_filters
from rest_framework import serializers

from bays.api.rows import IdFilter, MomentFilter
from bays.models import Hold, ResourceKind
from shopcal.accounts.permissions import Action
from shopcal.api.views import ListRows, ReadRow, ShopViewSet


class HoldOut(serializers.ModelSerializer[Hold]):
    kind = serializers.ChoiceField(choices=ResourceKind.choices, source="resource.kind")
    code = serializers.CharField(source="resource.code")
    name = serializers.CharField(source="resource.name")
    step = serializers.IntegerField(source="step_id", allow_null=True)

    class Meta:
        model = Hold
        fields = ("id", "kind", "code", "name", "starts_at", "ends_at", "step", "reason", "note")
        read_only_fields = fields


class HoldFilter(django_filters.FilterSet):
    """`starts_before` and `ends_after` together are a time range: what overlaps it."""

    starts_before = MomentFilter(field_name="starts_at", lookup_expr="lt")
    ends_after = MomentFilter(field_name="ends_at", lookup_expr="gt")
    kind = django_filters.ChoiceFilter(field_name="resource__kind", choices=ResourceKind.choices)
    code = django_filters.CharFilter(field_name="resource__code")
    step = IdFilter(field_name="step_id")

    class Meta:
        model = Hold
        fields = ("starts_before", "ends_after", "kind", "code", "step", "reason")


class Holds(ListRows, ReadRow, ShopViewSet):
    queryset = Hold.objects.select_related("resource")
    serializer_class = HoldOut
    filterset_class = HoldFilter
    ordering = ("starts_at", "id")
    detail_route = "api:hold-detail"
    actions = dict.fromkeys(("list", "retrieve"), Action.SEE_DAY_BOARD)
