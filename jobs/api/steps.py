"""Steps with their place in the plan: the day as it is planned and as it happens."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import django_filters
from django.db.models import DateTimeField, Value
from django.db.models.functions import Coalesce
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdFilter, MomentFilter
from jobs.api.step_moves import MovedByHand
from jobs.models import Step
from jobs.services.steps import finish_step, pin_step, start_step
from jobs.services.waiting import wait_for, wait_no_more
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopViewSet
from shopcal.errors import FieldError, Invalid

# Steps without a time come last; the order of a list must not be null.
_NO_TIME = datetime(9999, 1, 1, tzinfo=UTC)


@extend_schema_field(OpenApiTypes.OBJECT)
class PlacementField(serializers.JSONField):
    """Zones, pose, margin and outlines on the floor, millimetres and degrees."""


class StepOut(serializers.ModelSerializer[Step]):
    name = serializers.CharField(source="label")
    visit = serializers.IntegerField(source="visit_id")
    ro_number = serializers.CharField(source="visit.ro_number")
    technician = serializers.IntegerField(source="technician_id", allow_null=True)
    technician_name = serializers.CharField(source="technician.name", default=None, allow_null=True)
    second_person = serializers.IntegerField(source="second_person_id", allow_null=True)
    unit_codes = serializers.ListField(child=serializers.CharField())
    place = serializers.CharField(source="placement_label")
    placement = PlacementField(allow_null=True)

    class Meta:
        model = Step
        fields = (
            "id", "visit", "ro_number", "order", "kind", "name", "state", "minutes", "starts_at",
            "ends_at", "technician", "technician_name", "second_person", "unit_codes", "place",
            "placement", "park_after", "pinned", "waits_for", "not_before", "minutes_say",
            "set_up", "shared_minutes", "started_at", "ended_at", "version",
        )  # fmt: skip
        read_only_fields = fields


class StepFilter(django_filters.FilterSet):
    """`starts_before` and `ends_after` together are a time range, such as a day."""

    starts_before = MomentFilter(field_name="starts_at", lookup_expr="lt")
    ends_after = MomentFilter(field_name="ends_at", lookup_expr="gt")
    visit = IdFilter(field_name="visit_id")
    technician = IdFilter(field_name="technician_id")
    state = django_filters.MultipleChoiceFilter(choices=Step.State.choices)

    class Meta:
        model = Step
        fields = ("starts_before", "ends_after", "visit", "technician", "kind", "state", "pinned")


class PinIn(serializers.Serializer[Any]):
    pinned = serializers.BooleanField(help_text="Keep it where the plan has it, or let it go.")


class WaitIn(serializers.Serializer[Any]):
    waits_for = serializers.CharField(
        max_length=120, allow_blank=True, help_text="The part or the approval; empty: no more."
    )
    expected_at = serializers.DateTimeField(
        required=False, allow_null=True, default=None, help_text="Not before this, if it waits."
    )


class Steps(MovedByHand, ListRows, ReadRow, ShopViewSet):
    """By the time they start; those without a time come last."""

    queryset = Step.objects.select_related("visit", "technician").annotate(
        planned_at=Coalesce("starts_at", Value(_NO_TIME), output_field=DateTimeField())
    )
    serializer_class = StepOut
    filterset_class = StepFilter
    ordering = ("planned_at", "id")
    detail_route = "api:step-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "places": Action.REPLAN,
        "move": Action.REPLAN,
        "pin": Action.PIN_STEP,
        "wait": Action.CHANGE_VISIT,
        "start": Action.RECORD_SCAN,
        "finish": Action.RECORD_SCAN,
    }

    def _fresh(self, step: Step) -> Step:
        fresh: Step = self.get_queryset().get(pk=step.pk)
        return fresh

    @extend_schema(request=PinIn, responses=StepOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def pin(self, request: Request, step: Step, version: int) -> Response:
        """Keep it where the plan has it, whatever a re-plan would rather do."""
        pin_step(step=step, version=version, **self.read(PinIn), by=self.actor)
        return self.shown(self._fresh(step))

    @extend_schema(request=WaitIn, responses=StepOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def wait(self, request: Request, step: Step, version: int) -> Response:
        """Let it wait for a part or an approval until that is expected, or no more."""
        given = self.read(WaitIn)
        if not given["waits_for"] and given["expected_at"] is None:
            wait_no_more(by=self.actor, step=step, version=version)
        elif given["expected_at"] is None:
            fault = FieldError("expected_at", "is missing", "when it is expected")
            raise Invalid("waiting_invalid", "This was not saved.", errors=[fault])
        else:
            wait_for(by=self.actor, step=step, version=version, **given)
        return self.shown(self._fresh(step))

    @extend_schema(request=None, responses=StepOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def start(self, request: Request, pk: str) -> Response:
        """Begin it now. Starting one that is being done changes nothing."""
        return self.shown(self._fresh(start_step(step=self.get_object(), by=self.actor)))

    @extend_schema(request=None, responses=StepOut)
    @action(detail=True, methods=["post"])
    @idempotent
    def finish(self, request: Request, pk: str) -> Response:
        """End it now and give back people and equipment. Doing it twice changes nothing."""
        return self.shown(self._fresh(finish_step(step=self.get_object(), by=self.actor)))
