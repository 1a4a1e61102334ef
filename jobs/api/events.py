"""What happened in visits, as the history keeps it."""

from __future__ import annotations

import django_filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from bays.api.rows import IdFilter, MomentFilter
from shopcal.accounts.permissions import Action
from shopcal.api.views import ListRows, ReadRow, ShopViewSet
from shopcal.history.models import Event


@extend_schema_field(OpenApiTypes.OBJECT)
class ChangeField(serializers.JSONField):
    """What was, or what is now; its members depend on the kind."""


class EventOut(serializers.ModelSerializer[Event]):
    visit = serializers.IntegerField(source="visit_id")
    before = ChangeField(allow_null=True)
    after = ChangeField(allow_null=True)

    class Meta:
        model = Event
        fields = (
            "id", "seq", "at", "kind", "subject", "visit", "actor_name", "actor_role", "before",
            "after", "hash",
        )  # fmt: skip
        read_only_fields = fields


class EventFilter(django_filters.FilterSet):
    visit = IdFilter(field_name="visit_id")
    after_seq = django_filters.NumberFilter(
        field_name="seq", lookup_expr="gt", min_value=0, max_value=2**63 - 1
    )
    at_from = MomentFilter(field_name="at", lookup_expr="gte")

    class Meta:
        model = Event
        fields = ("visit", "kind", "subject", "after_seq", "at_from")


class Events(ListRows, ReadRow, ShopViewSet):
    """Never changed, in the order they happened; each is chained to the one before by its hash."""

    queryset = Event.objects.filter(visit_id__isnull=False)
    serializer_class = EventOut
    filterset_class = EventFilter
    ordering = ("seq", "id")
    detail_route = "api:event-detail"
    actions = dict.fromkeys(("list", "retrieve"), Action.SEE_VISIT)
