"""Calibrations as they are answered: attempts, the worksheet, the facts, what may be done now."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import django_filters
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from bays.api.rows import IdField, IdFilter
from jobs.api.visit_shapes import CALIBRATION_STATES
from jobs.lifecycle import CalibrationState, calibration_acts, calibration_unmet
from jobs.models import Answer, Attempt, AttemptUnit, Calibration, Override, Reading
from jobs.selectors.facts import AttemptState, attempt_state, calibration_facts


class AnswerOut(serializers.ModelSerializer[Answer]):
    class Meta:
        model = Answer
        fields = (
            "phase", "name", "ask", "met", "typed", "value", "unit", "says", "answered_at",
            "answered_by",
        )  # fmt: skip
        read_only_fields = fields


class ReadingOut(serializers.ModelSerializer[Reading]):
    instrument = serializers.IntegerField(source="instrument_id", allow_null=True)

    class Meta:
        model = Reading
        fields = (
            "id", "name", "repeat", "typed", "value", "unit", "instrument", "read_at", "read_by",
            "struck_at",
        )  # fmt: skip
        read_only_fields = fields


class UnitUsedOut(serializers.ModelSerializer[AttemptUnit]):
    unit = serializers.IntegerField(source="unit_id")
    code = serializers.CharField(source="unit.code")

    class Meta:
        model = AttemptUnit
        fields = ("unit", "code", "serial", "fitness", "fitness_says", "used_at")
        read_only_fields = fields


class OverrideOut(serializers.ModelSerializer[Override]):
    class Meta:
        model = Override
        fields = ("guard", "says", "reason", "overridden_at", "overridden_by")
        read_only_fields = fields


@extend_schema_field(OpenApiTypes.OBJECT)
class EvaluationField(serializers.JSONField):
    """The worksheet evaluated: unrounded values with uncertainties, checks with verdicts."""


class AttemptOut(serializers.ModelSerializer[Attempt]):
    technician = serializers.CharField(source="technician.name", default=None, allow_null=True)
    answers = AnswerOut(many=True)
    readings = ReadingOut(many=True)
    units = UnitUsedOut(many=True)
    overrides = OverrideOut(many=True)
    evaluation = EvaluationField(allow_null=True, help_text="As it was when the run started.")

    class Meta:
        model = Attempt
        fields = (
            "id", "number", "technician", "begun_at", "begun_by", "run_started_at", "ended_at",
            "outcome", "cause", "note", "answers", "readings", "units", "overrides", "evaluation",
        )  # fmt: skip
        read_only_fields = fields


class CalibrationRow(serializers.ModelSerializer[Calibration]):
    """A calibration in a list."""

    visit = serializers.IntegerField(source="visit_id")
    step = serializers.IntegerField(source="step_id")
    edition = serializers.IntegerField(source="edition_id")
    procedure = serializers.CharField(source="edition.procedure.code")
    state = serializers.ChoiceField(choices=CALIBRATION_STATES)
    reasons = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = Calibration
        fields: tuple[str, ...] = (
            "id", "visit", "system", "procedure", "edition", "step", "state", "reasons",
            "cancelled_reason", "dealt_with", "version",
        )  # fmt: skip
        read_only_fields = fields


class UnmetOut(serializers.Serializer[Any]):
    guard = serializers.CharField()
    code = serializers.CharField()
    says = serializers.CharField()
    right = serializers.CharField()
    can_override = serializers.BooleanField()


class ActOut(serializers.Serializer[Any]):
    """Something the state knows; it may be done once nothing is unmet."""

    act = serializers.CharField()
    unmet = UnmetOut(many=True)


class CalibrationOut(CalibrationRow):
    attempts = AttemptOut(many=True)
    worksheet = serializers.SerializerMethodField(
        help_text="The latest attempt's worksheet as it stands now."
    )
    facts = serializers.SerializerMethodField(help_text="What the guards ask.")
    acts = serializers.SerializerMethodField(help_text="What may come next, and what is lacking.")

    class Meta(CalibrationRow.Meta):
        fields = (*CalibrationRow.Meta.fields, "attempts", "worksheet", "facts", "acts")
        read_only_fields = fields

    def to_representation(self, instance: Calibration) -> Any:
        # Read once: worksheet, facts and acts are all made of it.
        self._known: AttemptState = attempt_state(instance)
        self._facts = calibration_facts(instance, state=self._known)
        return super().to_representation(instance)

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_worksheet(self, calibration: Calibration) -> Any:
        return self._known.results.as_content()

    @extend_schema_field(OpenApiTypes.OBJECT)
    def get_facts(self, calibration: Calibration) -> Any:
        return {**asdict(self._facts), "overridden": sorted(self._facts.overridden)}

    @extend_schema_field(ActOut(many=True))
    def get_acts(self, calibration: Calibration) -> Any:
        state = CalibrationState(calibration.state)
        return [
            {
                "act": act.value,
                "unmet": [asdict(u) for u in calibration_unmet(state, act, self._facts)],
            }
            for act in calibration_acts(state)
        ]


class CalibrationFilter(django_filters.FilterSet):
    visit = IdFilter(field_name="visit_id")
    procedure = django_filters.CharFilter(field_name="edition__procedure__code")
    state = django_filters.MultipleChoiceFilter(choices=CALIBRATION_STATES)

    class Meta:
        model = Calibration
        fields = ("visit", "system", "procedure", "state")


class AnswerIn(serializers.Serializer[Any]):
    """A precondition takes `yes` or `typed`, as the procedure asks; all other questions `yes`."""

    phase = serializers.ChoiceField(choices=Answer.Phase.choices)
    name = serializers.CharField(max_length=60)
    yes = serializers.BooleanField(required=False, allow_null=True, default=None)
    typed = serializers.CharField(max_length=60, required=False, allow_blank=True, default="")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["phase"] != Answer.Phase.PRECONDITION and attrs["yes"] is None:
            raise serializers.ValidationError({"yes": "This question is answered by yes or no."})
        return attrs


class ReadingIn(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=60)
    typed = serializers.CharField(max_length=60, help_text="As read: `193 cm`, `6 ft 4`.")
    repeat = serializers.IntegerField(min_value=1, max_value=100, default=1)
    instrument = IdField(
        required=False, allow_null=True, default=None, help_text="The unit it was read from."
    )


class StrikeIn(serializers.Serializer[Any]):
    reading = IdField()


class UseUnitIn(serializers.Serializer[Any]):
    unit = IdField()


class OutcomeIn(serializers.Serializer[Any]):
    outcome = serializers.ChoiceField(choices=["passed", "failed", "stopped"])
    cause = serializers.CharField(
        max_length=200, required=False, allow_blank=True, default="", help_text="Unless passed."
    )
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")


class RejectIn(serializers.Serializer[Any]):
    cause = serializers.CharField(max_length=200)
    note = serializers.CharField(max_length=4000, required=False, allow_blank=True, default="")


class GiveUpIn(serializers.Serializer[Any]):
    dealt_with = serializers.CharField(
        max_length=400, help_text="How the vehicle leaves, and who was told."
    )


class CancelIn(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=300)
