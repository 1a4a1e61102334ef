"""Surveys of the floor and of its light, and what they say of a zone."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from shapely.geometry import Polygon

from bays import floor
from bays.models import FloorSurvey, LightSurvey
from bays.selectors.surveys import Surveys as ShopSurveys
from bays.selectors.surveys import level_there, light_there
from bays.services.surveys import MOST_LUX, MOST_POINTS, record_light_survey, record_survey
from shopcal.accounts.permissions import Action
from shopcal.api.idempotency import idempotent
from shopcal.api.views import ListRows, ReadRow, ShopActs, ShopViewSet
from shopcal.errors import FieldError, Invalid

VERDICTS = ("yes", "no", "unknown")
_HEIGHTS = "[x_mm, y_mm, height_mm] in the floor plan's frame."
_LUX = "[x_mm, y_mm, lux] in the floor plan's frame."
_DUE = "The last day the readings are good; after it they back no yes."


class PointField(serializers.ListField):
    child = serializers.FloatField(min_value=-1e6, max_value=1e6)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_length=3, max_length=3, **kwargs)


class PlaceField(serializers.ListField):
    child = serializers.FloatField(min_value=-1e6, max_value=1e6)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_length=2, max_length=2, **kwargs)


def _points(help_text: str) -> serializers.ListField:
    return serializers.ListField(
        child=PointField(), min_length=3, max_length=MOST_POINTS, help_text=help_text
    )


class SurveyOut(serializers.ModelSerializer[FloorSurvey]):
    points = serializers.ListField(child=PointField(), help_text=_HEIGHTS)

    class Meta:
        model = FloorSurvey
        fields = (
            "id", "number", "surveyed_on", "due_on", "instrument", "reading_uncertainty_mm",
            "points", "notes", "recorded_by",
        )  # fmt: skip
        read_only_fields = fields


class SurveyIn(serializers.Serializer[Any]):
    surveyed_on = serializers.DateField()
    due_on = serializers.DateField(required=False, allow_null=True, default=None, help_text=_DUE)
    instrument = serializers.CharField(max_length=120)
    reading_uncertainty_mm = serializers.FloatField(
        default=0.5, min_value=0, max_value=100, help_text="Standard uncertainty of one height."
    )
    points = _points(_HEIGHTS)
    notes = serializers.CharField(required=False, allow_blank=True, default="", max_length=2000)


class Surveys(ListRows, ReadRow, ShopViewSet):
    """How level the floor is, as it was read; for each zone the newest that covers it counts."""

    queryset = FloorSurvey.objects.all()
    serializer_class = SurveyOut
    ordering = ("-surveyed_on", "-id")
    detail_route = "api:survey-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_FLOOR_PLAN,
    }

    @extend_schema(request=SurveyIn, responses={201: SurveyOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Keep a survey of heights. Surveys are never changed: read again makes the next one."""
        return self.created(record_survey(**self.read(SurveyIn), by=self.actor))


class LightSurveyOut(serializers.ModelSerializer[LightSurvey]):
    points = serializers.ListField(child=PointField(), help_text=_LUX)

    class Meta:
        model = LightSurvey
        fields = (
            "id", "number", "surveyed_on", "due_on", "instrument", "reading_uncertainty_percent",
            "points", "conditions", "notes", "recorded_by",
        )  # fmt: skip
        read_only_fields = fields


class LightSurveyIn(serializers.Serializer[Any]):
    surveyed_on = serializers.DateField()
    due_on = serializers.DateField(required=False, allow_null=True, default=None, help_text=_DUE)
    instrument = serializers.CharField(max_length=120)
    reading_uncertainty_percent = serializers.FloatField(
        default=5.0,
        min_value=0,
        max_value=100,
        help_text="Standard uncertainty of a reading, of its value.",
    )
    points = _points(_LUX)
    conditions = serializers.CharField(
        required=False,
        allow_blank=True,
        default="",
        max_length=200,
        help_text="Which lamps were on, and whether daylight came in.",
    )
    notes = serializers.CharField(required=False, allow_blank=True, default="", max_length=2000)


class LightSurveys(ListRows, ReadRow, ShopViewSet):
    """How well the floor is lit, as it was read; for each zone the newest that covers it counts."""

    queryset = LightSurvey.objects.all()
    serializer_class = LightSurveyOut
    ordering = ("-surveyed_on", "-id")
    detail_route = "api:light-survey-detail"
    actions = {
        "list": Action.SEE_DAY_BOARD,
        "retrieve": Action.SEE_DAY_BOARD,
        "create": Action.EDIT_FLOOR_PLAN,
    }

    @extend_schema(request=LightSurveyIn, responses={201: LightSurveyOut})
    @idempotent
    def create(self, request: Request) -> Response:
        """Keep a survey of the light. Surveys are never changed: read again makes the next one."""
        return self.created(record_light_survey(**self.read(LightSurveyIn), by=self.actor))


class LevelAsked(serializers.Serializer[Any]):
    """The most that is allowed; what is left out is not limited."""

    slope_percent = serializers.FloatField(required=False, default=None, min_value=0)
    deviation_mm = serializers.FloatField(required=False, default=None, min_value=0)
    along_percent = serializers.FloatField(required=False, default=None, min_value=0)
    across_percent = serializers.FloatField(required=False, default=None, min_value=0)


class LightAsked(serializers.Serializer[Any]):
    """What the light must keep to; what is left out is not limited."""

    min_lux = serializers.FloatField(required=False, default=None, min_value=0, max_value=MOST_LUX)
    max_lux = serializers.FloatField(required=False, default=None, min_value=0, max_value=MOST_LUX)
    uniformity = serializers.FloatField(required=False, default=None, min_value=0, max_value=1)


class GroundIn(serializers.Serializer[Any]):
    polygon = serializers.ListField(
        child=PlaceField(), min_length=3, max_length=1000, help_text="Corners on the plan, mm."
    )
    heading_deg = serializers.FloatField(default=0, min_value=-360, max_value=360)
    level = LevelAsked(required=False, help_text="Left out: figures, without a limit.")
    light = LightAsked(required=False, help_text="Left out: figures, without a limit.")


class LevelOut(serializers.Serializer[Any]):
    """Uncertainties are standard uncertainties."""

    verdict = serializers.ChoiceField(choices=VERDICTS)
    reason = serializers.CharField()
    says = serializers.CharField()
    survey = serializers.IntegerField(allow_null=True, help_text="The survey that speaks for it.")
    slope_percent = serializers.FloatField(allow_null=True)
    slope_uncertainty_percent = serializers.FloatField(allow_null=True)
    along_percent = serializers.FloatField(allow_null=True, help_text="Above 0: rises ahead.")
    along_uncertainty_percent = serializers.FloatField(allow_null=True)
    across_percent = serializers.FloatField(allow_null=True, help_text="Above 0: rises left.")
    across_uncertainty_percent = serializers.FloatField(allow_null=True)
    max_deviation_mm = serializers.FloatField(allow_null=True)
    deviation_uncertainty_mm = serializers.FloatField(allow_null=True)
    worst_point = PlaceField(allow_null=True)


class LightOut(serializers.Serializer[Any]):
    verdict = serializers.ChoiceField(choices=VERDICTS)
    reason = serializers.CharField()
    says = serializers.CharField()
    survey = serializers.IntegerField(allow_null=True, help_text="The survey that speaks for it.")
    least_lux = serializers.FloatField(allow_null=True)
    most_lux = serializers.FloatField(allow_null=True)
    mean_lux = serializers.FloatField(allow_null=True)
    uniformity = serializers.FloatField(allow_null=True, help_text="Least by mean.")
    uncertainty_percent = serializers.FloatField(help_text="Standard, of each value.")
    worst_point = PlaceField(allow_null=True)


class GroundOut(serializers.Serializer[Any]):
    today = serializers.DateField(help_text="The shop's calendar day.")
    level = LevelOut()
    light = LightOut()


class Ground(ShopActs):
    """Changes nothing: asking twice is harmless."""

    actions = {"ask": Action.SEE_DAY_BOARD}

    @extend_schema(operation_id="ground_query", request=GroundIn, responses=GroundOut)
    @action(detail=False, methods=["post"], url_path="query")
    def ask(self, request: Request) -> Response:
        """How level and how well lit a piece of the floor is, by the shop's surveys."""
        given = self.read(GroundIn)
        area = Polygon(given["polygon"])
        if not area.is_valid or area.area <= 0:
            fault = FieldError("polygon", "It crosses itself or has no area.", "a simple outline")
            raise Invalid("invalid", "Some of what was given is wrong.", errors=[fault])
        surveys = ShopSurveys(self.actor.shop_id)
        asked = {"slope_percent": None, "deviation_mm": None, **given.get("level", {})}
        level = level_there(surveys, area, given["heading_deg"], floor.LevelTolerance(**asked))
        wanted = {"min_lux": None, **given.get("light", {})}
        light = light_there(surveys, area, floor.LightTolerance(**wanted))
        answer = {"today": surveys.today, "level": _told(*level), "light": _told(*light)}
        return Response(GroundOut(answer).data)


def _told(
    found: floor.Level | floor.Light, survey: FloorSurvey | LightSurvey | None
) -> dict[str, Any]:
    told = {name: getattr(found, name) for name in found.__dataclass_fields__}
    if isinstance(found, floor.Light):
        told["uniformity"] = found.uniformity
    return {**told, "survey": survey.pk if survey else None}
