"""Surveys by the API, and asking what they say of a piece of floor."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import FloorSurvey, LightSurvey
from tests.bays.api.test_physical_world import send
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db

HEIGHTS = [[x, y, 0.006 * x] for x in range(0, 10_001, 1000) for y in range(0, 11_001, 1000)]
LUX = [[x, y, 700 - 0.02 * x] for x in range(0, 10_001, 1000) for y in range(0, 11_001, 1000)]
BAY = [[500, 500], [9500, 500], [9500, 10_500], [500, 10_500]]


def heights(client: Client, **given: Any) -> Any:
    body = {
        "surveyed_on": "2026-10-05",
        "due_on": "2027-10-05",
        "instrument": "rotating laser",
        "reading_uncertainty_mm": 0.4,
        "points": HEIGHTS,
        **given,
    }
    return send(client, "post", "survey-list", body)


def lights(client: Client, **given: Any) -> Any:
    body = {
        "surveyed_on": "2026-10-05",
        "instrument": "light meter",
        "reading_uncertainty_percent": 4,
        "conditions": "all lamps on",
        "points": LUX,
        **given,
    }
    return send(client, "post", "light-survey-list", body)


def test_surveys_are_kept_and_read_back(world: World) -> None:
    made = heights(world.manager)
    assert made.status_code == 201, made.content
    kept = world.writer.get(made["Location"]).json()
    assert kept["points"] == HEIGHTS
    assert (kept["due_on"], kept["reading_uncertainty_mm"]) == ("2027-10-05", 0.4)
    lit = lights(world.manager)
    assert lit.status_code == 201, lit.content
    kept = world.writer.get(lit["Location"]).json()
    assert kept["reading_uncertainty_percent"] == 4
    assert (kept["number"], kept["due_on"], kept["conditions"]) == (2, None, "all lamps on")
    listed = world.writer.get(reverse("api:light-survey-list")).json()["results"]
    assert kept["id"] in [row["id"] for row in listed]


def test_only_a_manager_adds_a_survey(world: World) -> None:
    for caller in (world.writer, world.technician):
        assert heights(caller).status_code == 403
        assert lights(caller).status_code == 403


@pytest.mark.parametrize(
    ("given", "path"),
    [
        ({"points": [[1000 * i, 500 * i, 100] for i in range(9)]}, "points"),
        ({"points": [*LUX, [90_000, 0, 100]]}, f"points[{len(LUX)}]"),
        ({"due_on": "2026-10-01"}, "due_on"),
        ({"surveyed_on": "2030-01-01", "due_on": None}, "surveyed_on"),
    ],
)
def test_what_cannot_be_is_refused_with_its_path(
    world: World, given: dict[str, Any], path: str
) -> None:
    before = FloorSurvey.objects.count(), LightSurvey.objects.count()
    for record in (heights, lights):
        answer = record(world.manager, **given)
        assert answer.status_code == 422
        assert [error["path"] for error in answer.json()["errors"]] == [path]
    assert (FloorSurvey.objects.count(), LightSurvey.objects.count()) == before


def ask(client: Client, **given: Any) -> Any:
    return send(client, "post", "ground-ask", {"polygon": BAY, "heading_deg": 90, **given})


def test_a_piece_of_floor_is_judged_with_its_figures(world: World) -> None:
    survey = heights(world.manager).json()["id"]
    lit = lights(world.manager).json()["id"]
    asked = {"level": {"slope_percent": 0.5}, "light": {"min_lux": 500}}
    answer = ask(world.writer, **asked)
    assert answer.status_code == 200, answer.content
    level, light = answer.json()["level"], answer.json()["light"]
    assert (level["verdict"], level["survey"]) == ("no", survey)
    assert level["says"].startswith("The floor slopes 0.60 % there")
    assert level["across_percent"] == pytest.approx(-0.6)
    assert level["along_percent"] == pytest.approx(0, abs=1e-9)
    assert level["slope_uncertainty_percent"] > 0
    assert (light["verdict"], light["survey"]) == ("unknown", lit)  # 510 lux, 4 % standard
    assert light["least_lux"] == pytest.approx(700 - 0.02 * 9500)
    assert light["worst_point"][0] == pytest.approx(9500, abs=1.5)


def test_without_limits_the_figures_alone_are_answered(world: World) -> None:
    heights(world.manager)
    found = ask(world.technician).json()
    assert (found["level"]["verdict"], found["level"]["reason"]) == ("yes", "level")
    assert found["level"]["slope_percent"] == pytest.approx(0.6)
    assert (found["light"]["verdict"], found["light"]["reason"]) == ("unknown", "not_covered")


def test_floor_where_nobody_read_is_unknown(world: World) -> None:
    heights(world.manager)
    far = [[30_000, 500], [34_000, 500], [34_000, 9000], [30_000, 9000]]
    found = ask(world.writer, polygon=far, level={"slope_percent": 1}).json()
    assert found["level"]["verdict"] == "unknown"


def test_an_older_survey_speaks_where_the_newest_was_not_read(world: World) -> None:
    old = heights(world.manager, surveyed_on="2026-09-01").json()["id"]
    far = [[x + 20_000, y, 0.0] for x, y, _ in HEIGHTS]
    heights(world.manager, points=far, surveyed_on="2026-10-05")
    assert ask(world.writer).json()["level"]["survey"] == old


def test_readings_past_their_day_back_no_yes(world: World) -> None:
    heights(world.manager, surveyed_on="2026-01-05", due_on="2026-10-01")
    found = ask(world.writer, level={"slope_percent": 1}).json()["level"]
    assert (found["verdict"], found["reason"]) == ("unknown", "overdue")
    assert "overdue since 2026-10-02" in found["says"]


def test_an_outline_that_crosses_itself_is_refused(world: World) -> None:
    crossed = [[0, 0], [1000, 1000], [1000, 0], [0, 1000]]
    answer = ask(world.writer, polygon=crossed)
    assert answer.status_code == 422
    assert [error["path"] for error in answer.json()["errors"]] == ["polygon"]
