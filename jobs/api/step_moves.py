"""Steps moved by hand: where a step can go, and putting it there."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import Step
from jobs.services.step_moves import StepMove, move_step, places_of
from shopcal.api import kinds
from shopcal.api.etags import etag_for
from shopcal.api.idempotency import idempotent
from shopcal.api.versions import versioned
from shopcal.errors import FieldError, Invalid


class StartSpanOut(serializers.Serializer[Any]):
    """Starts from `first` to `last`, every five minutes, that are alike."""

    first = serializers.DateTimeField()
    last = serializers.DateTimeField()
    kind = serializers.ChoiceField(
        choices=["open", "along", "late", "shut"],
        help_text="`open`; `along`: what follows in the visit moves as well; `late`: past the "
        "promise; `shut`: `says` why.",
    )
    says = serializers.CharField()
    place = serializers.CharField(allow_null=True)
    technician = serializers.CharField(allow_null=True, help_text="Their code.")


class StartRowOut(serializers.Serializer[Any]):
    id = serializers.CharField(help_text="`zone:` or `person:` and the code.")
    spans = StartSpanOut(many=True)


class KnownPlaceOut(serializers.Serializer[Any]):
    id = serializers.CharField()
    name = serializers.CharField(source="label")
    rows = serializers.ListField(child=serializers.CharField(), help_text="The zones it takes.")


class StepPlacesOut(serializers.Serializer[Any]):
    step = serializers.IntegerField(source="step.pk")
    version = serializers.IntegerField(source="step.version")
    name = serializers.CharField(source="step.label")
    ro_number = serializers.CharField(source="step.visit.ro_number")
    pinned = serializers.BooleanField(source="step.pinned")
    minutes = serializers.IntegerField()
    starts_at = serializers.DateTimeField(source="step.starts_at", allow_null=True)
    place = serializers.CharField(source="step.placement_key")
    technician = serializers.CharField(source="step.technician.code", default=None, allow_null=True)
    places = KnownPlaceOut(many=True)
    people = serializers.DictField(child=serializers.CharField(), help_text="Names by code.")
    rows = StartRowOut(many=True)


class MoveIn(serializers.Serializer[Any]):
    starts_at = serializers.DateTimeField()
    place = serializers.CharField(max_length=200, help_text="As `places/` names it.")
    technician = serializers.CharField(max_length=80, help_text="Their code.")
    also_moves = serializers.BooleanField(
        default=False, help_text="Accepts what else moves and whose promise is passed."
    )
    keep = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Pin it there, or unpin it."
    )


class StepMoveOut(serializers.Serializer[Any]):
    step = serializers.IntegerField(source="step.pk")
    version = serializers.IntegerField(source="step.version")
    pinned = serializers.BooleanField(source="step.pinned")
    along = serializers.BooleanField(help_text="Whether the rest of the visit moved as well.")
    changes = serializers.ListField(child=serializers.CharField())
    promises = serializers.ListField(child=serializers.CharField())


def shown_move(made: StepMove) -> Response:
    """A move that was made, with the step's new version as its tag."""
    return Response(StepMoveOut(made).data, headers={"ETag": etag_for(made.step.version)})


class MovedByHand:
    """What the view of steps takes on: `places/` and `move/`."""

    @extend_schema(
        parameters=[OpenApiParameter("on", date, description="A day; the step's own if left out.")],
        responses=StepPlacesOut,
    )
    @action(detail=True, methods=["get"])
    def places(self, request: Request, pk: str) -> Response:
        """Where it can go on a day, for every zone and technician, and why not elsewhere."""
        view = cast(Any, self)
        found = places_of(step=view.get_object(), on=_day_in(request), by=view.actor)
        return Response(StepPlacesOut(found).data)

    @extend_schema(request=MoveIn, responses=StepMoveOut)
    @action(detail=True, methods=["post"])
    @idempotent
    @versioned
    def move(self, request: Request, step: Step, version: int) -> Response:
        """Give it another time, place or technician; nothing but its own visit moves."""
        view = cast(Any, self)
        given = view.read(MoveIn)
        return shown_move(move_step(step=step, version=version, **given, by=view.actor))


def _day_in(request: Request) -> date | None:
    text = request.query_params.get("on")
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        fault = FieldError("on", "This is not a day.", "a date such as 2026-03-02")
        raise Invalid(kinds.INVALID.code, kinds.INVALID.title, errors=[fault]) from None
