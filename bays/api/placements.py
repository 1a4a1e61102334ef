"""Where does a vehicle with its clear zone fit? Asked of the floor plan in force."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from bays.api.floor_answers import (
    FloorAnswerOut,
    PlacementOut,
    answer_facts,
    placement_facts,
)
from bays.api.placement_question import question
from bays.api.surveys import LevelAsked, LightAsked
from bays.selectors.floor import current_floor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopActs

MOST_HEADINGS = 36
LONGEST_MM = 30_000
FARTHEST_MM = 1_000_000


class ShapeIn(serializers.Serializer[Any]):
    """A vehicle's outline on the ground, millimetres."""

    width_mm = serializers.FloatField(min_value=100, max_value=LONGEST_MM)
    wheelbase_mm = serializers.FloatField(min_value=100, max_value=LONGEST_MM)
    front_overhang_mm = serializers.FloatField(min_value=0, max_value=LONGEST_MM)
    rear_overhang_mm = serializers.FloatField(min_value=0, max_value=LONGEST_MM)
    tyre_track_outer_mm = serializers.FloatField(
        required=False,
        allow_null=True,
        default=None,
        min_value=100,
        max_value=LONGEST_MM,
        help_text="Across the outer tread blocks; the body's width where it is not given.",
    )


@extend_schema_field(OpenApiTypes.OBJECT)
class ClearZoneField(serializers.JSONField):
    """Rectangles and sectors against named datums, as in a procedure's `clear_zone`."""


class PoseIn(serializers.Serializer[Any]):
    """The middle of the rear axle on the floor, and the heading."""

    x_mm = serializers.FloatField(min_value=-FARTHEST_MM, max_value=FARTHEST_MM)
    y_mm = serializers.FloatField(min_value=-FARTHEST_MM, max_value=FARTHEST_MM)
    heading_deg = serializers.FloatField(min_value=-360, max_value=360)


class FloorQuestionIn(serializers.Serializer[Any]):
    """What every question about a vehicle on the floor may say."""

    vehicle = ShapeIn()
    clear_zone = ClearZoneField(
        required=False,
        allow_null=True,
        default=None,
        help_text="As in a procedure; without it the vehicle's body alone must be clear.",
    )
    occupied_zones = serializers.ListField(
        child=serializers.CharField(max_length=80),
        required=False,
        default=list,
        max_length=500,
        help_text="Codes of zones that are not free.",
    )
    at = serializers.DateTimeField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Asks of a moment: zones held then by anybody are occupied as well.",
    )
    minutes = serializers.IntegerField(
        default=60, min_value=1, max_value=24 * 60, help_text="How long it would stay from `at` on."
    )
    level = LevelAsked(
        required=False, allow_null=True, default=None, help_text="Judges the floor by the surveys."
    )
    light = LightAsked(
        required=False, allow_null=True, default=None, help_text="Judges the light by the surveys."
    )


class PlacementsIn(FloorQuestionIn):
    headings_deg = serializers.ListField(
        child=serializers.FloatField(min_value=-360, max_value=360),
        required=False,
        allow_null=True,
        default=None,
        min_length=1,
        max_length=MOST_HEADINGS,
        help_text="Counter-clockwise from +x; anywhere on the floor. In the bays, at any heading, "
        "if not given.",
    )
    free_from = serializers.DictField(
        child=serializers.DateTimeField(),
        required=False,
        default=dict,
        help_text="From when occupied zones are free, by their codes, so that it can be said.",
    )
    at_bay = serializers.CharField(
        required=False, allow_null=True, default=None, max_length=80, help_text="Of one bay only."
    )
    square = serializers.BooleanField(
        default=False,
        help_text="With `at_bay`: along the bay's own heading and its reverse only, not askew.",
    )
    at_pose = PoseIn(required=False, allow_null=True, default=None, help_text="Of one pose only.")
    min_turning_radius_mm = serializers.FloatField(
        required=False,
        allow_null=True,
        default=None,
        min_value=500,
        max_value=LONGEST_MM,
        help_text="Least radius of the middle of the rear axle. With it the way in from the doors "
        "is looked for, which may take seconds.",
    )


class PlacementsOut(serializers.Serializer[Any]):
    floor_plan = serializers.IntegerField(help_text="The edition that was asked.")
    fits = serializers.BooleanField()
    placements = PlacementOut(many=True)
    answer = FloorAnswerOut()
    why_not = FloorAnswerOut(allow_null=True, help_text="The answer again; null where it fits.")


class Placements(ShopActs):
    """Changes nothing: asking twice is harmless."""

    actions = {"ask": Action.SEE_DAY_BOARD}

    @extend_schema(operation_id="placements_query", request=PlacementsIn, responses=PlacementsOut)
    @action(detail=False, methods=["post"], url_path="query")
    def ask(self, request: Request) -> Response:
        """Every smallest set of free zones in which the vehicle fits; if none, what would help."""
        given = self.read(PlacementsIn)
        current = current_floor(self.actor.shop_id)
        asked = question(Shop.objects.get(pk=self.actor.shop_id), current, given)
        told = asked.answer()
        facts = answer_facts(told)
        answer = {
            "floor_plan": current.edition.pk,
            "fits": told.fits is not None,
            "placements": [placement_facts(one) for one in asked.free(told)],
            "answer": facts,
            "why_not": None if told.fits is not None else facts,
        }
        return Response(PlacementsOut(answer).data)
