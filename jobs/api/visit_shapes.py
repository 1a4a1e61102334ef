"""Visits as they are answered and as they are asked for."""

from __future__ import annotations

from typing import Any

import django_filters
from rest_framework import serializers

from bays.api.rows import IdFilter, MomentFilter
from jobs.api.quotes import RequestIn
from jobs.api.vehicles import SystemsField, VehicleOut
from jobs.lifecycle import CalibrationState, VisitState
from jobs.models import Calibration, Step, Visit

STATES = [(state.value, state.value) for state in VisitState]
CALIBRATION_STATES = [(state.value, state.value) for state in CalibrationState]
CLOSED = (VisitState.RELEASED, VisitState.CANCELLED)
# What a row of the list holds, read from the database as it is answered.
LISTED = (
    "id", "ro_number", "state", "vehicle_id", "customer_name", "arrives_at", "wanted_by",
    "promised_at", "booked_at", "ready_at", "released_at", "hold_reason", "version",
)  # fmt: skip


class VisitRow(serializers.Serializer[Any]):
    """A visit in a list."""

    id = serializers.IntegerField()
    ro_number = serializers.CharField()
    state = serializers.ChoiceField(choices=STATES)
    vehicle_id = serializers.IntegerField()
    vehicle = serializers.CharField()
    vin = serializers.CharField()
    customer_name = serializers.CharField()
    arrives_at = serializers.DateTimeField()
    wanted_by = serializers.DateTimeField(allow_null=True)
    promised_at = serializers.DateTimeField()
    booked_at = serializers.DateTimeField()
    ready_at = serializers.DateTimeField(allow_null=True)
    released_at = serializers.DateTimeField(allow_null=True)
    hold_reason = serializers.CharField(allow_blank=True)
    version = serializers.IntegerField()


class VisitStepOut(serializers.ModelSerializer[Step]):
    name = serializers.CharField(source="label")
    technician = serializers.CharField(source="technician.name", default=None, allow_null=True)
    place = serializers.CharField(source="placement_label")

    class Meta:
        model = Step
        fields = (
            "id", "order", "kind", "name", "state", "minutes", "starts_at", "ends_at", "technician",
            "place", "unit_codes", "pinned", "started_at", "ended_at", "version",
        )  # fmt: skip
        read_only_fields = fields


class VisitCalibrationOut(serializers.ModelSerializer[Calibration]):
    procedure = serializers.CharField(source="edition.procedure.code")
    state = serializers.ChoiceField(choices=CALIBRATION_STATES)
    step = serializers.IntegerField(source="step_id")
    reasons = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = Calibration
        fields = ("id", "system", "procedure", "step", "state", "reasons", "version")
        read_only_fields = fields


class VisitOut(serializers.ModelSerializer[Visit]):
    state = serializers.ChoiceField(choices=STATES)
    vehicle = VehicleOut()
    work_done = serializers.ListField(child=serializers.CharField())
    systems_to_confirm = SystemsField()
    steps = VisitStepOut(many=True)
    calibrations = VisitCalibrationOut(many=True)

    class Meta:
        model = Visit
        fields = (
            "id", "ro_number", "state", "vehicle", "customer_name", "customer_phone",
            "customer_email", "work_done", "systems_to_confirm", "vin_confirmed", "notes", "weight",
            "arrives_at", "wanted_by", "promised_at", "booked_at", "booked_by", "checked_in_at",
            "ready_at", "released_at", "hold_reason", "cancelled_reason", "signed_off_by",
            "signed_off_at", "steps", "calibrations", "version",
        )  # fmt: skip
        read_only_fields = fields


class BookingIn(RequestIn):
    offer_token = serializers.CharField(
        max_length=20_000, help_text="Of the offer the customer took."
    )


class VisitChangeIn(serializers.Serializer[Any]):
    customer_name = serializers.CharField(max_length=120)
    customer_phone = serializers.CharField(max_length=40, allow_blank=True)
    customer_email = serializers.EmailField(max_length=254, allow_blank=True)
    notes = serializers.CharField(max_length=4000, allow_blank=True)


class ReasonIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class CheckInIn(serializers.Serializer[Any]):
    vin_from_plate = serializers.CharField(
        max_length=60,
        required=False,
        allow_blank=True,
        default="",
        help_text="As read from the vehicle itself, where the booked one is in doubt.",
    )


class SystemsIn(serializers.Serializer[Any]):
    has = SystemsField(required=False, default=list)
    has_not = SystemsField(required=False, default=list)


class VisitFilter(django_filters.FilterSet):
    state = django_filters.MultipleChoiceFilter(choices=STATES)
    open = django_filters.BooleanFilter(method="filter_open", label="Not released or cancelled")
    promised_from = MomentFilter(field_name="promised_at", lookup_expr="gte")
    promised_before = MomentFilter(field_name="promised_at", lookup_expr="lt")
    vehicle = IdFilter(field_name="vehicle_id")
    vin = django_filters.CharFilter(field_name="vehicle__vin")

    class Meta:
        model = Visit
        fields = (
            "state",
            "open",
            "promised_from",
            "promised_before",
            "ro_number",
            "vehicle",
            "vin",
        )

    def filter_open(self, rows: Any, name: str, value: bool) -> Any:
        return rows.exclude(state__in=CLOSED) if value else rows.filter(state__in=CLOSED)


class OverrideIn(serializers.Serializer[Any]):
    guard = serializers.CharField(max_length=60, help_text="As `unmet` names it.")
    reason = serializers.CharField(max_length=400, help_text="It is shown on the record.")
