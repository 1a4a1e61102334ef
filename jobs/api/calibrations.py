"""Calibrations: every move from the first attempt to verified, each guarded by the table."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.rows import named_row
from bays.models import EquipmentUnit
from jobs.api.calibration_shapes import (
    AnswerIn,
    CalibrationFilter,
    CalibrationOut,
    CalibrationRow,
    CancelIn,
    GiveUpIn,
    OutcomeIn,
    ReadingIn,
    RejectIn,
    StrikeIn,
    UseUnitIn,
)
from jobs.api.visit_shapes import OverrideIn
from jobs.models import Answer, Calibration, Reading
from jobs.services import answers, equipment_used, overrides, readings
from jobs.services import calibrations as moves
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.api.views import ListRows, ReadRow, ShopViewSet

_BY_PHASE: Final[dict[str, Callable[..., Answer]]] = {
    Answer.Phase.PRECONDITION: answers.answer_precondition,
    Answer.Phase.BEFORE_RUN: answers.answer_before_run,
    Answer.Phase.DURING_RUN: answers.answer_during_run,
    Answer.Phase.AFTER_CHECK: answers.answer_after_check,
}


class Calibrations(ListRows, ReadRow, ShopViewSet):
    """The vehicle maker's current service information comes first in everything done here."""

    queryset = Calibration.objects.select_related("edition__procedure")
    serializer_class = CalibrationOut
    filterset_class = CalibrationFilter
    ordering = ("-id",)
    detail_route = "api:calibration-detail"
    actions = {
        "list": Action.SEE_VISIT,
        "retrieve": Action.SEE_VISIT,
        "prepare": Action.RUN_CALIBRATION,
        "answer": Action.ANSWER_PRECONDITION,
        "reading": Action.RECORD_READING,
        "strike": Action.RECORD_READING,
        "unit": Action.USE_EQUIPMENT,
        "put_back": Action.USE_EQUIPMENT,
        "set_out": Action.RUN_CALIBRATION,
        "start_run": Action.RUN_CALIBRATION,
        "outcome": Action.RECORD_OUTCOME,
        "verify": Action.RECORD_OUTCOME,
        "reject": Action.RECORD_OUTCOME,
        "attempt_again": Action.RUN_CALIBRATION,
        "give_up": Action.RECORD_OUTCOME,
        "cancel": Action.CHANGE_VISIT,
        "override": Action.OVERRIDE_GUARD,
    }

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        if self.action == "list":
            return rows
        return rows.select_related("shop", "visit__vehicle", "step__technician").prefetch_related(
            "attempts__technician",
            "attempts__answers",
            "attempts__readings",
            "attempts__units__unit",
            "attempts__overrides",
        )

    def get_serializer_class(self) -> Any:
        return CalibrationRow if self.action == "list" else CalibrationOut

    def summary_of(self, row: Calibration) -> dict[str, Any]:
        return {"id": row.pk, "says": str(row), "state": row.state}

    def _shown(self, calibration: Calibration) -> Response:
        return self.shown(self.get_queryset().get(pk=calibration.pk))

    def _unit(self, path: str, unit_id: int) -> EquipmentUnit:
        return named_row(EquipmentUnit.objects.for_shop(self.actor.shop_id), path, pk=unit_id)

    @extend_schema(request=None, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def prepare(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Begin the first attempt."""
        moves.prepare(calibration=calibration, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=AnswerIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def answer(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Answer a precondition, a confirmation or an after-check."""
        given = self.read(AnswerIn)
        phase = given.pop("phase")
        if phase != Answer.Phase.PRECONDITION:
            given.pop("typed")
        _BY_PHASE[phase](calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=ReadingIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def reading(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Take in a reading as typed; one of the same repeat is struck out."""
        given = self.read(ReadingIn)
        if given["instrument"] is not None:
            given["instrument"] = self._unit("instrument", given["instrument"])
        readings.record_reading(calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=StrikeIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def strike(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Strike a reading out; it stays on the record and counts no more."""
        own = Reading.objects.for_shop(self.actor.shop_id).filter(attempt__calibration=calibration)
        found = named_row(own, "reading", pk=self.read(StrikeIn)["reading"])
        readings.strike_reading(reading=found, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=UseUnitIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def unit(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Take a unit for the attempt."""
        unit = self._unit("unit", self.read(UseUnitIn)["unit"])
        equipment_used.use_unit(calibration=calibration, unit=unit, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=UseUnitIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="put-back")
    @idempotent
    @versioned
    def put_back(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Take a unit off the attempt before it runs."""
        unit = self._unit("unit", self.read(UseUnitIn)["unit"])
        equipment_used.put_unit_back(
            calibration=calibration, unit=unit, version=version, by=self.actor
        )
        return self._shown(calibration)

    @extend_schema(request=None, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="set-out")
    @idempotent
    @versioned
    def set_out(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Targets, mats or stands stand where the edition says."""
        moves.mark_set_out(calibration=calibration, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=None, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="start-run")
    @idempotent
    @versioned
    def start_run(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Start the run, once every guard is met or set aside by a manager."""
        moves.start_run(calibration=calibration, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=OutcomeIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def outcome(self, request: Request, calibration: Calibration, version: int) -> Response:
        """How the run ended."""
        given = self.read(OutcomeIn)
        outcome = given.pop("outcome")
        facts: dict[str, Any] = {"calibration": calibration, "version": version, "by": self.actor}
        if outcome == "passed":
            moves.record_passed(**facts)
        elif outcome == "failed":
            moves.record_failed(**facts, **given)
        else:
            moves.stop(**facts, **given)
        return self._shown(calibration)

    @extend_schema(request=None, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def verify(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Every after-check is well: the calibration counts."""
        moves.verify(calibration=calibration, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=RejectIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="reject-after-checks")
    @idempotent
    @versioned
    def reject(self, request: Request, calibration: Calibration, version: int) -> Response:
        """An after-check contradicts the pass: the attempt failed after all."""
        given = self.read(RejectIn)
        moves.reject_after_checks(calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=None, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="attempt-again")
    @idempotent
    @versioned
    def attempt_again(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Begin another attempt after one failed or was stopped."""
        moves.attempt_again(calibration=calibration, version=version, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=GiveUpIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"], url_path="give-up")
    @idempotent
    @versioned
    def give_up(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Leave a failed or stopped calibration as it is, with how the vehicle leaves."""
        given = self.read(GiveUpIn)
        moves.give_up(calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=CancelIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def cancel(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Take a calibration that has not run off the visit."""
        given = self.read(CancelIn)
        moves.cancel_calibration(calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)

    @extend_schema(request=OverrideIn, responses=CalibrationOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def override(self, request: Request, calibration: Calibration, version: int) -> Response:
        """Set one guard aside for this attempt, or the one about to begin, with the reason."""
        given = self.read(OverrideIn)
        overrides.override_guard(calibration=calibration, version=version, **given, by=self.actor)
        return self._shown(calibration)
