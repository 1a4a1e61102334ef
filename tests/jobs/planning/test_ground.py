"""Floor that a survey proves unfit is not planned on; what was judged, and by what, is kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

import jobs.demo
from bays.floor import LevelTolerance
from bays.models import FloorSurvey
from bays.selectors.floor import current_floor
from bays.selectors.surveys import Surveys, bay_floor, level_there, surveys_due
from bays.services.surveys import record_light_survey, record_survey
from jobs.models import Step, VehicleModel
from jobs.planning.ground_table import GroundTable, ground_table
from jobs.planning.space import Place, places_for, shape_of
from jobs.procedures import load_yaml
from jobs.services.procedures import publish_edition
from jobs.warming import procedures_of
from shopcal.accounts.actor import Actor
from shopcal.accounts.models import Membership
from tests.faults.small_shop import SLUG, make_shop
from tests.jobs.planning.test_ways_in_force import WEDNESDAY, book

pytestmark = pytest.mark.django_db

PROCEDURES = Path(jobs.demo.__file__).parent / "procedures"
HALL = [(x, y) for x in range(0, 40_001, 1000) for y in range(0, 20_001, 1000)]


@pytest.fixture
def desk() -> Iterator[Actor]:
    with time_machine.travel(WEDNESDAY, tick=False):
        make_shop()
        found = Membership.objects.select_related("user").get(shop__slug=SLUG, role="manager")
        yield Actor.of(found)


def heights(desk: Actor, rise_percent: float, **given: Any) -> FloorSurvey:
    return record_survey(
        by=desk,
        points=[[x, y, rise_percent / 100 * x] for x, y in HALL],
        surveyed_on=given.pop("surveyed_on", date(2026, 11, 20)),
        instrument="rotating laser",
        **given,
    )


def places(desk: Actor) -> dict[str, Place]:
    (content,) = [c for c in procedures_of(desk.shop_id) if c.code == "surround_view_mats"]
    shape = shape_of(VehicleModel.objects.for_shop(desk.shop_id).get(code="corrie-pickup"))
    return places_for(current_floor(desk.shop_id), shape, content)


def test_floor_that_is_too_steep_everywhere_leaves_no_place(desk: Actor) -> None:
    assert places(desk)
    heights(desk, 1.5)  # 1 % is allowed
    assert places(desk) == {}


def test_only_where_it_is_too_steep_is_left_out(desk: Actor) -> None:
    before = places(desk)
    points = [[x, y, 0.02 * max(x - 20_000, 0)] for x, y in HALL]
    record_survey(by=desk, points=points, surveyed_on=date(2026, 11, 20), instrument="laser")
    kept = places(desk)
    assert 0 < len(kept) < len(before)
    for key, place in before.items():
        assert place.found is not None
        if min(x for x, _ in place.found.polygon) > 20_000:
            assert key not in kept
        if max(x for x, _ in place.found.polygon) < 20_000:
            assert key in kept


@pytest.mark.parametrize("due_on", [None, date(2026, 11, 24)])
def test_floor_nobody_knows_may_be_used(desk: Actor, due_on: date | None) -> None:
    before = places(desk)
    if due_on is not None:
        heights(desk, 0.2, due_on=due_on)  # level, and overdue since today
    kept = places(desk)
    assert kept.keys() == before.keys()
    for place in kept.values():
        assert place.ground is not None
        assert place.ground.verdict == "unknown"


def test_too_dark_is_left_out_and_dark_but_overdue_is_too(desk: Actor) -> None:
    for due_on in (None, date(2026, 11, 24)):
        record_light_survey(
            by=desk,
            points=[[x, y, 200] for x, y in HALL],
            surveyed_on=date(2026, 11, 20),
            instrument="light meter",
            due_on=due_on,
        )
        assert places(desk) == {}  # 300 lux are asked for


def test_a_booking_keeps_what_its_floor_was_judged_by(desk: Actor) -> None:
    first = heights(desk, 0.2)
    step = book(desk).steps.get(kind=Step.Kind.CALIBRATION)
    kept = (step.placement or {})["ground"]
    assert kept["level"]["survey"] == first.pk
    assert kept["level"]["verdict"] == "yes"
    assert kept["level"]["slope_percent"] == pytest.approx(0.2)
    assert kept["light"] == {
        "survey": None, "verdict": "unknown", "reason": "no_survey",
        "least_lux": None, "most_lux": None, "uncertainty_percent": 0.0,
    }  # fmt: skip
    heights(desk, 0.3)
    step.refresh_from_db()
    assert (step.placement or {})["ground"] == kept


def test_each_bay_is_judged_by_the_newest_survey_that_covers_it(desk: Actor) -> None:
    plan = current_floor(desk.shop_id).plan
    whole = heights(desk, 0.2, surveyed_on=date(2026, 5, 4))
    bay = plan.bays[0]
    west, south, east, north = bay.area.bounds
    # readings up to half a metre outside help to cover the bay
    inside = [[x, y, 0] for x, y in HALL if west <= x <= east + 500 and south <= y <= north + 500]
    partly = record_survey(
        by=desk, points=inside, surveyed_on=date(2026, 11, 2), instrument="laser"
    )
    surveys = Surveys(desk.shop_id)
    speaking = [
        level_there(surveys, bay_floor(plan, b), b.heading_deg, LevelTolerance(1, 5)).survey
        for b in plan.bays[:3]
    ]
    assert speaking == [partly, whole, whole]


def test_a_survey_read_over_is_not_reminded_of(desk: Actor) -> None:
    plan = current_floor(desk.shop_id).plan
    old = heights(desk, 0.2, surveyed_on=date(2025, 1, 7), due_on=date(2026, 1, 7))
    today = date(2026, 11, 25)
    (due,) = surveys_due(desk.shop_id, plan, today)
    assert (due.survey, str(due.state)) == (old, "overdue")
    heights(desk, 0.2, due_on=date(2027, 11, 20))
    assert surveys_due(desk.shop_id, plan, today) == []


def table(desk: Actor, vehicle: str = "") -> GroundTable:
    contents = [load_yaml(path.read_text()) for path in sorted(PROCEDURES.glob("*.yaml"))]
    for content in contents:
        publish_edition(by=desk, content=content, beside=[c["code"] for c in contents])
    kind = VehicleModel.objects.for_shop(desk.shop_id).filter(code=vehicle).first()
    return ground_table(current_floor(desk.shop_id), "metric", kind)


def test_every_bay_is_told_for_every_procedure(desk: Actor) -> None:
    heights(desk, 0.8)  # too steep for some procedures, not for others
    found = table(desk)
    assert len(found.rows) == len(current_floor(desk.shop_id).plan.bays)
    words = {
        name: {row.cells[index].word for row in found.rows}
        for index, name in enumerate(found.procedures)
    }
    assert words["Front camera, target ahead"] == {"no"}
    assert words["Steering angle sensor, zero"] == {"yes"}
    assert words["Surround view, floor mats"] == {"unknown"}  # level enough; nobody read the light
    assert not any("road" in name for name in found.procedures)
    told = found.rows[0].remarks
    assert ("stop", "Front camera, target ahead, Front radar, reflector ahead") in [
        remark[:2] for remark in told
    ]
    assert any("slopes 0.80 %" in reason for _, _, reason in told)
    assert any("Nobody has read the light" in reason for _, _, reason in told)


def test_a_vehicle_is_judged_where_its_clear_zone_has_room(desk: Actor) -> None:
    heights(desk, 0.2)
    found = table(desk, "corrie-pickup")
    words = {cell.word for row in found.rows for cell in row.cells}
    assert words == {"yes", "unknown", "no room"}


def test_the_part_of_the_page_is_for_every_member(desk: Actor) -> None:
    heights(desk, 0.2)
    where = reverse("ground-table")
    assert Client().get(where).status_code == 302
    client = Client()
    client.force_login(Membership.objects.get(shop_id=desk.shop_id, role="manager").user)
    page = " ".join(client.get(where).content.decode().split())
    assert "What each bay is told" in page
    assert "0.20 %" in page
    assert client.post(where).status_code == 405
    other = " ".join(client.get(where, {"vehicle": "corrie-pickup"}).content.decode().split())
    assert "no room" in other
