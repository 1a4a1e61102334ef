"""What breaks the day, and the plan repaired around it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import IdField, named_row
from bays.models import EquipmentUnit, Resource, ResourceKind, Technician
from jobs.api.step_moves import StepMoveOut, shown_move
from jobs.models import Step
from jobs.services import replans
from jobs.services.plan_changes import PlanChange
from jobs.services.step_moves import undo_move
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ShopActs


class WhyIn(serializers.Serializer[Any]):
    why = serializers.CharField(max_length=200, help_text="It is kept with the change.")


class SpanIn(serializers.Serializer[Any]):
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    reason = serializers.CharField(max_length=120)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["ends_at"] <= attrs["starts_at"]:
            raise serializers.ValidationError({"ends_at": "This is not after the start."})
        return attrs


class TechnicianOutIn(SpanIn):
    technician = IdField()


class ZoneClosedIn(SpanIn):
    zone = serializers.CharField(max_length=80, help_text="Its code.")


class UnitOutIn(serializers.Serializer[Any]):
    unit = IdField()
    reason = serializers.CharField(max_length=200)
    until = serializers.DateTimeField(required=False, allow_null=True, default=None)


class RunsLongIn(serializers.Serializer[Any]):
    step = IdField()
    ends_at = serializers.DateTimeField(help_text="When it will be done.")


class PromiseOut(serializers.Serializer[Any]):
    """A visit that the repaired plan finishes after what the customer was told."""

    visit = serializers.IntegerField(source="visit_id")
    ro_number = serializers.CharField()
    promised_at = serializers.DateTimeField()
    finishes_at = serializers.DateTimeField()
    says = serializers.CharField()


class PlanChangeOut(serializers.Serializer[Any]):
    why = serializers.CharField()
    unchanged = serializers.BooleanField(help_text="True where no step had to move.")
    changes = serializers.ListField(child=serializers.CharField())
    promises = PromiseOut(many=True)
    waits = serializers.BooleanField(
        help_text="True where a promise would move: nothing is moved until it is accepted."
    )
    proposal = serializers.IntegerField(
        source="proposal_id", allow_null=True, help_text="Accept it, or take it back, by this."
    )


class Plan(ShopActs):
    """Each act records what happened and repairs the plan, changing as little as possible."""

    actions = {
        "repair": Action.REPLAN,
        "technician_out": Action.REPLAN,
        "unit_out": Action.TAKE_UNIT_OUT,
        "zone_closed": Action.REPLAN,
        "runs_long": Action.RECORD_OUTCOME,
        "undo_move": Action.REPLAN,
    }

    def _answer(self, change: PlanChange) -> Response:
        return Response(PlanChangeOut(change).data)

    @extend_schema(request=WhyIn, responses=PlanChangeOut)
    @action(detail=False, methods=["post"])
    @idempotent
    def repair(self, request: Request) -> Response:
        """Put right whatever the plan in force breaks."""
        return self._answer(replans.repair_plan(**self.read(WhyIn), by=self.actor))

    @extend_schema(request=TechnicianOutIn, responses=PlanChangeOut)
    @action(detail=False, methods=["post"], url_path="technician-out")
    @idempotent
    def technician_out(self, request: Request) -> Response:
        """Record an absence and give the steps to others, or to other times."""
        given = self.read(TechnicianOutIn)
        people = Technician.objects.for_shop(self.actor.shop_id)
        given["technician"] = named_row(people, "technician", pk=given["technician"])
        return self._answer(replans.technician_out(**given, by=self.actor))

    @extend_schema(request=UnitOutIn, responses=PlanChangeOut)
    @action(detail=False, methods=["post"], url_path="unit-out")
    @idempotent
    def unit_out(self, request: Request) -> Response:
        """Take a unit out of service and plan its steps with others."""
        given = self.read(UnitOutIn)
        units = EquipmentUnit.objects.for_shop(self.actor.shop_id).select_related("type")
        given["unit"] = named_row(units, "unit", pk=given["unit"])
        return self._answer(replans.unit_out(**given, by=self.actor))

    @extend_schema(request=ZoneClosedIn, responses=PlanChangeOut)
    @action(detail=False, methods=["post"], url_path="zone-closed")
    @idempotent
    def zone_closed(self, request: Request) -> Response:
        """Close a piece of floor for a time and move what stands in the plan there."""
        given = self.read(ZoneClosedIn)
        zones = Resource.objects.for_shop(self.actor.shop_id).filter(
            kind=ResourceKind.ZONE, active=True
        )
        code = named_row(zones, "zone", code=given.pop("zone")).code
        return self._answer(replans.zone_closed(code=code, **given, by=self.actor))

    @extend_schema(request=RunsLongIn, responses=PlanChangeOut)
    @action(detail=False, methods=["post"], url_path="runs-long")
    @idempotent
    def runs_long(self, request: Request) -> Response:
        """Give a step that is being done more time and move what stands in its way."""
        given = self.read(RunsLongIn)
        steps = Step.objects.for_shop(self.actor.shop_id).filter(state=Step.State.DOING)
        given["step"] = named_row(steps.select_related("visit"), "step", pk=given["step"])
        return self._answer(replans.runs_long(**given, by=self.actor))

    @extend_schema(request=None, responses=StepMoveOut)
    @action(detail=False, methods=["post"], url_path="undo-move")
    @idempotent
    def undo_move(self, request: Request) -> Response:
        """Take back one's own last move of a step, while what it left is still free."""
        return shown_move(undo_move(by=self.actor))
