"""Equipment: types, units and their acts, upkeep rules, what is due."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import Count
from django.utils import timezone
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdField, IdFilter, named_row
from bays.models import EquipmentType, EquipmentUnit, UpkeepDone, UpkeepRule
from bays.selectors.equipment import UnitDue, dues_of
from bays.services.equipment import (
    ACCURACY_CLASSES,
    add_equipment_type,
    add_unit,
    put_unit,
    return_to_service,
    take_out_of_service,
)
from bays.services.upkeep import add_rule, record_upkeep
from bays.upkeep import DueState
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopViewSet

DUE_STATES = [(state.value, state.value) for state in DueState]


class EquipmentTypeOut(serializers.ModelSerializer[EquipmentType]):
    class Meta:
        model = EquipmentType
        fields = ("id", "code", "name", "exclusive")
        read_only_fields = fields


class EquipmentTypeIn(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=120)
    exclusive = serializers.BooleanField(
        default=True, help_text="Held for the time of a step; false for what lies about in number."
    )


class EquipmentTypes(ListRows, ReadRow, ShopViewSet):
    """Kinds of equipment that procedures ask for by code."""

    queryset = EquipmentType.objects.all()
    serializer_class = EquipmentTypeOut
    ordering = ("code", "id")
    detail_route = "api:equipment-type-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_EQUIPMENT,
    }

    @extend_schema(request=EquipmentTypeIn, responses={201: EquipmentTypeOut})
    @idempotent
    def create(self, request: Request) -> Response:
        return self.created(add_equipment_type(**self.read(EquipmentTypeIn), by=self.actor))


class DueOut(serializers.Serializer[Any]):
    """Where a unit stands against one rule."""

    rule = serializers.CharField(source="rule.code")
    name = serializers.CharField(source="rule.name")
    state = serializers.ChoiceField(choices=DUE_STATES, source="due.state")
    due_on = serializers.DateField(
        source="due.due_on", allow_null=True, help_text="The last day it is fit by the calendar."
    )
    uses_left = serializers.IntegerField(source="due.uses_left", allow_null=True)
    says = serializers.CharField(source="due.says")


class UnitOut(serializers.ModelSerializer[EquipmentUnit]):
    type = serializers.CharField(source="type.code")
    use_count = serializers.IntegerField()
    upkeep = serializers.SerializerMethodField()

    class Meta:
        model = EquipmentUnit
        fields = (
            "id", "code", "name", "type", "serial", "state", "state_reason", "commissioned_on",
            "accuracy_class", "resolution_mm", "use_count", "upkeep", "version",
        )  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(DueOut(many=True))
    def get_upkeep(self, unit: EquipmentUnit) -> Any:
        return DueOut(dues_today(unit), many=True).data


def dues_today(unit: EquipmentUnit) -> list[UnitDue]:
    """Where each rule of a unit stands on the shop's calendar today."""
    return dues_of(unit, timezone.now().astimezone(unit.shop.zone).date())


class UnitChangeIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    serial = serializers.CharField(max_length=80, required=False, allow_blank=True)
    accuracy_class = serializers.ChoiceField(
        choices=ACCURACY_CLASSES, required=False, allow_blank=True, help_text="Of a tape."
    )
    resolution_mm = serializers.FloatField(
        required=False, allow_null=True, min_value=0, max_value=1000, help_text="Of a tape."
    )


class UnitIn(UnitChangeIn):
    type = serializers.CharField(max_length=60, help_text="The code of its type.")
    code = serializers.CharField(max_length=60)
    # Not to be changed later: upkeep before a unit was commissioned contradicts itself.
    commissioned_on = serializers.DateField(required=False)


class TakeOutIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)
    until = serializers.DateTimeField(
        required=False, allow_null=True, default=None, help_text="When it is expected back."
    )


class UpkeepIn(serializers.Serializer[Any]):
    rule = serializers.CharField(max_length=60, help_text="The code of the rule.")
    result = serializers.ChoiceField(choices=UpkeepDone.Result.choices)
    note = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")
    done_at = serializers.DateTimeField(
        required=False, allow_null=True, default=None, help_text="Now where it is not given."
    )


class UpkeepDoneOut(serializers.ModelSerializer[UpkeepDone]):
    unit = serializers.IntegerField(source="unit_id")
    rule = serializers.CharField(source="rule.code")

    class Meta:
        model = UpkeepDone
        fields = ("id", "unit", "rule", "done_at", "uses_at", "result", "note", "done_by")
        read_only_fields = fields


class UnitFilter(django_filters.FilterSet):
    type = django_filters.CharFilter(field_name="type__code")
    state = django_filters.ChoiceFilter(choices=EquipmentUnit.State.choices)
    code = django_filters.CharFilter()

    class Meta:
        model = EquipmentUnit
        fields = ("type", "state", "code")


class Units(ListRows, ReadRow, ShopViewSet):
    """Single items. A plan that needs a unit taken out is repaired by `plan/unit-out/`."""

    queryset = (
        EquipmentUnit.objects.select_related("shop", "type")
        .prefetch_related("type__upkeep_rules", "upkeep_done")
        .annotate(use_count=Count("uses"))
    )
    serializer_class = UnitOut
    filterset_class = UnitFilter
    ordering = ("code", "id")
    detail_route = "api:unit-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_EQUIPMENT,
        "partial_update": Action.EDIT_EQUIPMENT,
        "take_out": Action.TAKE_UNIT_OUT,
        "return_unit": Action.RECORD_UPKEEP,
        "record": Action.RECORD_UPKEEP,
    }

    def _fresh(self, unit: EquipmentUnit) -> EquipmentUnit:
        """The unit as lists show it, uses counted."""
        fresh: EquipmentUnit = self.get_queryset().get(pk=unit.pk)
        return fresh

    @extend_schema(request=UnitIn, responses={201: UnitOut})
    @idempotent
    def create(self, request: Request) -> Response:
        given = self.read(UnitIn)
        types = EquipmentType.objects.for_shop(self.actor.shop_id)
        given["type"] = named_row(types, "type", code=given["type"])
        return self.created(self._fresh(add_unit(**given, by=self.actor)))

    @extend_schema(request=UnitChangeIn, responses=UnitOut)
    @versioned
    def partial_update(self, request: Request, unit: EquipmentUnit, version: int) -> Response:
        names = ("name", "serial", "commissioned_on", "accuracy_class", "resolution_mm")
        now = {name: getattr(unit, name) for name in names}
        facts = {**now, **self.read(UnitChangeIn, partial=True)}
        put_unit(by=self.actor, type=unit.type, code=unit.code, version=version, **facts)
        return self.shown(self._fresh(unit))

    @extend_schema(request=TakeOutIn, responses=UnitOut)
    @action(detail=True, methods=["post"], url_path="take-out")
    @idempotent
    @versioned
    def take_out(self, request: Request, unit: EquipmentUnit, version: int) -> Response:
        """Keep it from being used, from now until somebody returns it."""
        given = self.read(TakeOutIn)
        take_out_of_service(unit=unit, version=version, **given, by=self.actor)
        return self.shown(self._fresh(unit))

    @extend_schema(request=None, responses=UnitOut)
    @action(detail=True, methods=["post"], url_path="return")
    @idempotent
    @versioned
    def return_unit(self, request: Request, unit: EquipmentUnit, version: int) -> Response:
        """Let it be used again."""
        return_to_service(unit=unit, version=version, by=self.actor)
        return self.shown(self._fresh(unit))

    @extend_schema(request=UpkeepIn, responses={201: UpkeepDoneOut})
    @action(detail=True, methods=["post"], url_path="upkeep")
    @idempotent
    def record(self, request: Request, pk: str) -> Response:
        """Record upkeep; `not_fit` takes the unit out of service."""
        unit, given = self.get_object(), self.read(UpkeepIn)
        rules = UpkeepRule.objects.for_shop(self.actor.shop_id)
        given["rule"] = named_row(rules, "rule", code=given["rule"])
        done = record_upkeep(unit=unit, **given, by=self.actor)
        return Response(UpkeepDoneOut(done).data, status=201)


class UpkeepDoneFilter(django_filters.FilterSet):
    unit = IdFilter(field_name="unit_id")

    class Meta:
        model = UpkeepDone
        fields = ("unit", "result")


class UpkeepHistory(ListRows, ReadRow, ShopViewSet):
    """Upkeep that was carried out, the newest first."""

    queryset = UpkeepDone.objects.select_related("rule")
    serializer_class = UpkeepDoneOut
    filterset_class = UpkeepDoneFilter
    ordering = ("-done_at", "-id")
    detail_route = "api:upkeep-detail"
    actions = dict.fromkeys(("list", "retrieve"), Action.SEE_DAY_BOARD)


class UpkeepRuleOut(serializers.ModelSerializer[UpkeepRule]):
    equipment_type = serializers.CharField(source="equipment_type.code")

    class Meta:
        model = UpkeepRule
        fields = (
            "id", "equipment_type", "code", "name", "says", "every_days", "every_uses",
            "warn_days", "warn_uses",
        )  # fmt: skip
        read_only_fields = fields


class CountField(serializers.IntegerField):
    """A number of days or uses."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_value=1_000_000, **kwargs)


class UpkeepRuleIn(serializers.Serializer[Any]):
    equipment_type = IdField(help_text="The id of the type.")
    code = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=120)
    says = serializers.CharField(max_length=400, required=False, allow_blank=True, default="")
    every_days = CountField(min_value=1, required=False, allow_null=True, default=None)
    every_uses = CountField(min_value=1, required=False, allow_null=True, default=None)
    warn_days = CountField(min_value=0, default=14)
    warn_uses = CountField(min_value=0, default=0)


class UpkeepRules(ListRows, ReadRow, ShopViewSet):
    """The care every unit of a type needs, by days, uses, or both."""

    queryset = UpkeepRule.objects.select_related("equipment_type")
    serializer_class = UpkeepRuleOut
    ordering = ("code", "id")
    detail_route = "api:upkeep-rule-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_EQUIPMENT,
    }

    @extend_schema(request=UpkeepRuleIn, responses={201: UpkeepRuleOut})
    @idempotent
    def create(self, request: Request) -> Response:
        given = self.read(UpkeepRuleIn)
        types = EquipmentType.objects.for_shop(self.actor.shop_id)
        kind = named_row(types, "equipment_type", pk=given.pop("equipment_type"))
        return self.created(add_rule(type=kind, **given, by=self.actor))
