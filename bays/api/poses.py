"""What does a vehicle with its clear zone meet at one pose? For whoever places it by hand."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import shapely
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from shapely.geometry import Polygon

from bays import floor
from bays.api.floor_answers import (
    CodesField,
    FloorAnswerOut,
    OutlineField,
    PoseOut,
    ShortfallOut,
    answer_facts,
)
from bays.api.placement_question import Question, question
from bays.api.placements import FloorQuestionIn, PlacementsIn, PoseIn
from bays.floor.nearby import best_near
from bays.floor.placement import at_pose
from bays.floor.sides import nearest_thing, room_on_sides
from bays.selectors.floor import current_floor
from shopcal.accounts.models import Shop
from shopcal.accounts.permissions import Action
from shopcal.api.views import ShopActs

FARTHEST_SEARCH_MM = 5000


class PoseCheckIn(FloorQuestionIn):
    pose = PoseIn()
    roomiest_within_mm = serializers.FloatField(
        required=False,
        allow_null=True,
        default=None,
        min_value=1,
        max_value=FARTHEST_SEARCH_MM,
        help_text="Also looks for the roomiest pose this near, at the same heading.",
    )


class SpotField(serializers.ListField):
    child = serializers.FloatField()


class RoomOut(serializers.Serializer[Any]):
    """The least distance straight out on one side, from `start` to `end` on the plan."""

    side = serializers.ChoiceField(choices=["front", "rear", "left", "right"])
    gap_mm = serializers.FloatField()
    start = SpotField()
    end = SpotField()
    against = serializers.CharField(help_text="“wall”, the id of an obstacle, the code of a zone.")


class NearestOut(serializers.Serializer[Any]):
    gap_mm = serializers.FloatField()
    start = SpotField()
    end = SpotField()
    against = serializers.CharField(help_text="“wall”, the id of an obstacle, the code of a zone.")


class RoomierOut(serializers.Serializer[Any]):
    pose = PoseOut()
    margin_mm = serializers.FloatField()


class PoseCheckOut(serializers.Serializer[Any]):
    floor_plan = serializers.IntegerField(help_text="The edition that was asked.")
    fits = serializers.BooleanField(
        help_text="With the room that the tolerances need, and not on floor that a survey refuses."
    )
    margin_mm = serializers.FloatField(help_text="How far the clear zone could grow all round.")
    needs_mm = serializers.FloatField(help_text="The margin that the step's tolerances need.")
    zones = CodesField(help_text="Zones it takes, that margin included.")
    shortfalls = ShortfallOut(many=True)
    rooms_of_clear_zone = RoomOut(many=True)
    rooms_of_body = RoomOut(many=True)
    nearest = NearestOut(allow_null=True, help_text="Null where it meets something.")
    polygon = OutlineField(help_text="Outline of the clear zone on the floor, millimetres.")
    body = OutlineField(help_text="Outline of the vehicle on the floor, millimetres.")
    answer = FloorAnswerOut()
    roomier = RoomierOut(allow_null=True, help_text="Null where not asked for, or where none is.")


class Poses(ShopActs):
    """Changes nothing: asking twice is harmless."""

    actions = {"check": Action.SEE_DAY_BOARD}

    @extend_schema(operation_id="pose_check", request=PoseCheckIn, responses=PoseCheckOut)
    @action(detail=False, methods=["post"], url_path="check")
    def check(self, request: Request) -> Response:
        """Margin, what is short on which side against what, and the room on each side."""
        given = self.read(PoseCheckIn)
        current = current_floor(self.actor.shop_id)
        asked = question(Shop.objects.get(pk=self.actor.shop_id), current, _question(given))
        facts = _facts(asked, floor.Pose(**given["pose"]), given["roomiest_within_mm"])
        return Response(PoseCheckOut({"floor_plan": current.edition.pk, **facts}).data)


def _question(given: dict[str, Any]) -> dict[str, Any]:
    """As a question about placements at this one pose."""
    asked = PlacementsIn(data={"vehicle": given["vehicle"]})
    asked.is_valid(raise_exception=True)
    unasked: dict[str, Any] = asked.validated_data
    return {**unasked, **given, "at_pose": given["pose"]}


def _facts(asked: Question, pose: floor.Pose, within_mm: float | None) -> dict[str, Any]:
    plan, parts, occupied = asked.plan, asked.parts, asked.occupied
    rings = {part.name: at_pose(part.ring, pose) for part in parts}
    whole = shapely.union_all([Polygon(at_pose(part.ring, pose)) for part in parts])
    outer = whole if isinstance(whole, Polygon) else whole.convex_hull
    solid = {str(zone): plan.zones[zone].polygon for zone in plan.zones if zone in occupied}
    report = floor.check_pose(plan, parts, pose, occupied)
    nearest = nearest_thing(plan, outer, solid)
    roomier = None if within_mm is None else best_near(plan, parts, pose, occupied, within_mm)
    told = asked.answer()
    return {
        "fits": told.fits is not None,
        "margin_mm": report.margin_mm,
        "needs_mm": floor.needed_margin_mm(parts),
        "zones": sorted(report.zones),
        "shortfalls": [asdict(short) for short in report.shortfalls],
        "rooms_of_clear_zone": [asdict(r) for r in room_on_sides(plan, outer, pose, solid)],
        "rooms_of_body": [
            asdict(r) for r in room_on_sides(plan, Polygon(rings["body"]), pose, solid)
        ],
        "nearest": asdict(nearest) if nearest else None,
        "polygon": list(outer.exterior.coords)[:-1],
        "body": rings["body"],
        "answer": answer_facts(told),
        "roomier": _roomier(roomier),
    }


def _roomier(found: floor.Fit | None) -> dict[str, Any] | None:
    return {"pose": found.pose._asdict(), "margin_mm": found.margin_mm} if found else None
