"""Surveys of the floor and its light: which one speaks for a zone, and which are due."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cached_property, lru_cache
from typing import Final, NamedTuple

import shapely
from django.utils import timezone
from shapely.geometry import Polygon
from shapely.ops import unary_union

from bays import floor, upkeep
from bays.floor.verdict import overdue_since
from bays.models import FloorSurvey, LightSurvey
from bays.upkeep import DueState
from shopcal.accounts.models import Shop

# So many of the newest are looked at for a zone: older ones have been read over since.
MOST_LOOKED_AT: Final = 8
# A survey takes half a day with the bays empty, so it is told in good time (common practice, no
# source).
WARN_DAYS: Final = 30
# Reasons that say nothing about the floor: a survey of another corner of it.
_ELSEWHERE: Final = ("too_few", "line", "not_covered")


Corners = tuple[tuple[float, float], ...]


class Surveys:
    """A shop's surveys, the newest first, on a day of the shop; read only when they are asked for.

    ``today`` is the shop's own day where it is not given.
    """

    def __init__(self, shop_id: int, today: date | None = None) -> None:
        self.shop_id = shop_id
        self._today = today

    @cached_property
    def heights(self) -> tuple[FloorSurvey, ...]:
        rows = FloorSurvey.objects.for_shop(self.shop_id).order_by("-surveyed_on", "-number")
        return tuple(rows[:MOST_LOOKED_AT])

    @cached_property
    def lights(self) -> tuple[LightSurvey, ...]:
        rows = LightSurvey.objects.for_shop(self.shop_id).order_by("-surveyed_on", "-number")
        return tuple(rows[:MOST_LOOKED_AT])

    @cached_property
    def today(self) -> date:
        if self._today is not None:
            return self._today
        return timezone.now().astimezone(Shop.objects.get(pk=self.shop_id).zone).date()

    @cached_property
    def _height_key(self) -> str:
        return _digest(self.heights, self.today)

    @cached_property
    def _light_key(self) -> str:
        return _digest(self.lights, self.today)

    def level_at(
        self, corners: Corners, heading_deg: float, tolerance: floor.LevelTolerance
    ) -> tuple[floor.Level, int | None]:
        """The answer, and the place among ``heights`` of the survey that gives it."""
        return _level_at(self._height_key, _Carried(self), corners, heading_deg, tolerance)

    def light_at(
        self, corners: Corners, tolerance: floor.LightTolerance
    ) -> tuple[floor.Light, int | None]:
        """The answer, and the place among ``lights`` of the survey that gives it."""
        return _light_at(self._light_key, _Carried(self), corners, tolerance)


class LevelThere(NamedTuple):
    """How level a zone is, and the survey that says so (None: nobody has surveyed anything)."""

    found: floor.Level
    survey: FloorSurvey | None


class LightThere(NamedTuple):
    """How well a zone is lit, and the survey that says so (None: nobody has read anything)."""

    found: floor.Light
    survey: LightSurvey | None


class SurveyDue(NamedTuple):
    """A survey that some bay still relies on, and where its day stands."""

    survey: FloorSurvey | LightSurvey
    name: str
    state: DueState
    says: str


def level_there(
    surveys: Surveys,
    polygon: Polygon | Sequence[Sequence[float]],
    heading_deg: float,
    tolerance: floor.LevelTolerance,
) -> LevelThere:
    """How level a zone is by the newest survey that covers it.

    Heights of two surveys have no common zero, so they are never put together. Where no survey
    covers the zone, the one that lacks least says what it lacks.
    """
    found, place = surveys.level_at(_corners(polygon), heading_deg, tolerance)
    return LevelThere(found, None if place is None else surveys.heights[place])


def light_there(
    surveys: Surveys,
    polygon: Polygon | Sequence[Sequence[float]],
    tolerance: floor.LightTolerance,
) -> LightThere:
    """How well a zone is lit by the newest survey that covers it, as ``level_there``."""
    found, place = surveys.light_at(_corners(polygon), tolerance)
    return LightThere(found, None if place is None else surveys.lights[place])


class _Carried:
    """Carries the surveys past the cache key, which is the digest of what they say."""

    def __init__(self, surveys: Surveys) -> None:
        self.surveys = surveys

    def __hash__(self) -> int:
        return 0

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Carried)


# A plan asks for the same places again and again; an answer takes a millisecond or three.
@lru_cache(maxsize=8192)
def _level_at(
    key: str,
    carried: _Carried,
    corners: Corners,
    heading_deg: float,
    tolerance: floor.LevelTolerance,
) -> tuple[floor.Level, int | None]:
    surveys, lacking = carried.surveys, []
    for place, survey in enumerate(surveys.heights):
        found = floor.level(
            survey.points,
            Polygon(corners),
            heading_deg,
            tolerance,
            reading_uncertainty_mm=survey.reading_uncertainty_mm,
            overdue_since=overdue_since(survey.due_on, surveys.today),
        )
        if found.reason not in _ELSEWHERE:
            return found, place
        lacking.append((found, place))
    if lacking:
        return min(lacking, key=_lacks)
    none = floor.Level("unknown", "", reason="no_survey")
    return replace(none, says=floor.level_words(none, tolerance)), None


@lru_cache(maxsize=8192)
def _light_at(
    key: str, carried: _Carried, corners: Corners, tolerance: floor.LightTolerance
) -> tuple[floor.Light, int | None]:
    surveys, lacking = carried.surveys, []
    for place, survey in enumerate(surveys.lights):
        found = floor.light(
            survey.points,
            Polygon(corners),
            tolerance,
            reading_uncertainty_percent=survey.reading_uncertainty_percent,
            overdue_since=overdue_since(survey.due_on, surveys.today),
        )
        if found.reason not in _ELSEWHERE:
            return found, place
        lacking.append((found, place))
    if lacking:
        return min(lacking, key=_lacks)
    none = floor.Light("unknown", "", reason="no_survey")
    return replace(none, says=floor.light_words(none, tolerance)), None


def _lacks(answer: tuple[floor.Level | floor.Light, int]) -> tuple[int, float, int]:
    """How little a survey says of a zone: none of it, too little, or how much it leaves out."""
    found, place = answer
    if found.left_out is None:
        return (1 if found.places else 2, 0.0, place)
    return (0, found.left_out.share_percent, place)


def _digest(rows: Sequence[FloorSurvey] | Sequence[LightSurvey], today: date) -> str:
    """A name of all that decides an answer: readings, their uncertainty, overdue or not."""
    told = [
        (
            row.points,
            getattr(row, "reading_uncertainty_mm", None),
            getattr(row, "reading_uncertainty_percent", None),
            str(overdue_since(row.due_on, today)),
        )
        for row in rows
    ]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()


def _corners(polygon: Polygon | Sequence[Sequence[float]]) -> Corners:
    ring = polygon.exterior.coords if isinstance(polygon, Polygon) else polygon
    return tuple((float(x), float(y)) for x, y in ring)


def bay_floor(plan: floor.FloorPlan, bay: floor.Bay) -> Polygon:
    """The floor of a bay without what stands solid on it; of a bay cut in two the larger part."""
    free = bay.area.difference(unary_union([obstacle.polygon for obstacle in plan.obstacles]))
    largest: Polygon = max(shapely.get_parts(free), key=lambda part: part.area)
    return largest


def survey_state(survey: FloorSurvey | LightSurvey, today: date) -> tuple[DueState, str]:
    """Where a survey's day stands, in the words that upkeep has for it."""
    return upkeep.by_date(survey.due_on, today, WARN_DAYS) or (DueState.FIT, "no day set")


def surveys_due(shop_id: int, plan: floor.FloorPlan | None, today: date) -> list[SurveyDue]:
    """Surveys that a bay of the plan relies on and that are overdue or due soon, worst first."""
    near = {"shop_id": shop_id, "due_on__lte": today + timedelta(days=WARN_DAYS)}
    if not any(model.objects.filter(**near).exists() for model in (FloorSurvey, LightSurvey)):
        return []  # the usual case, without reading any points
    surveys = Surveys(shop_id, today)
    rows = []
    for survey in _relied_on(surveys, plan):
        state, says = survey_state(survey, today)
        if state is not DueState.FIT:
            rows.append(SurveyDue(survey, survey_name(survey), state, says))
    rank = {DueState.OVERDUE: 0, DueState.DUE_SOON: 1}
    return sorted(rows, key=lambda row: (rank[row.state], row.survey.due_on or date.max))


def survey_name(survey: FloorSurvey | LightSurvey) -> str:
    """What people call it: "Floor survey 3", "Light survey 1"."""
    kind = "Floor survey" if isinstance(survey, FloorSurvey) else "Light survey"
    return f"{kind} {survey.number}"


def _relied_on(surveys: Surveys, plan: floor.FloorPlan | None) -> list[FloorSurvey | LightSurvey]:
    """The newest of each kind, and those that speak for some bay."""
    found: list[FloorSurvey | LightSurvey] = [*surveys.heights[:1], *surveys.lights[:1]]
    for bay in plan.bays if plan else ():
        area = bay_floor(plan, bay) if plan else None
        if area is not None:
            found += speaking_for(surveys, area)
    return list(dict.fromkeys(found))


def speaking_for(surveys: Surveys, area: Polygon) -> list[FloorSurvey | LightSurvey]:
    """The surveys by which a piece of floor is judged, whatever the limits."""
    level = level_there(surveys, area, 0, floor.LevelTolerance(None, None)).survey
    light = light_there(surveys, area, floor.LightTolerance(None)).survey
    return [survey for survey in (level, light) if survey is not None]
