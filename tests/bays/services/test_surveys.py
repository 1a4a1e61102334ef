"""Surveys of the floor and its light: kept once, never changed, refused with a reason."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from bays.models import FloorSurvey, LightSurvey
from bays.services.floor import publish_floor_plan
from bays.services.surveys import record_light_survey, record_survey
from shopcal.errors import Invalid, NotAllowed
from shopcal.history.models import Event
from tests.bays.services.shop_file import FLOOR
from tests.conftest import Person

pytestmark = pytest.mark.django_db

HEIGHTS = [[0, 0, 0.0], [9000, 0, 1.5], [0, 7000, -1.0]]
LUX = [[0, 0, 510.0], [9000, 0, 540.0], [0, 7000, 620.0]]


def _heights(person: Person, **given: Any) -> FloorSurvey:
    known = {"points": HEIGHTS, "surveyed_on": _today(), "instrument": "laser"}
    return record_survey(by=person.actor, **{**known, **given})


def _lights(person: Person, **given: Any) -> LightSurvey:
    known = {"points": LUX, "surveyed_on": _today(), "instrument": "light meter"}
    return record_light_survey(by=person.actor, **{**known, **given})


def _today() -> date:
    return timezone.now().date()


def test_a_survey_is_kept_with_its_points_and_numbered(manager: Person) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    due = _today() + timedelta(days=365)
    first = _heights(manager, due_on=due, notes=" after the new screed ")
    second = _heights(manager)
    light = _lights(manager, conditions="all lamps, doors shut")
    kept = FloorSurvey.objects.get(pk=first.pk)
    assert (kept.points, kept.due_on, kept.notes) == (HEIGHTS, due, "after the new screed")
    assert [first.number, second.number, light.number] == [1, 2, 1]
    assert Event.objects.filter(kind="floor.surveyed").count() == 2
    assert Event.objects.filter(kind="floor.light_surveyed").count() == 1


def test_shops_number_their_surveys_apart(manager: Person, other_manager: Person) -> None:
    _heights(manager)
    assert _heights(other_manager).number == 1


@pytest.mark.parametrize(
    ("given", "path", "word"),
    [
        ({"points": LUX[:2]}, "points", "2 places"),
        # one place read three times is one place
        ({"points": [[0, 0, 0], [0, 0, 1], [9000, 0, 0]]}, "points", "2 places"),
        ({"points": [[x, 2 * x, 0] for x in range(0, 4000, 500)]}, "points", "one line"),
        ({"points": [*LUX, [0, 1]]}, "points[3]", "no point"),
        ({"points": [*LUX, [0, 1, float("nan")]]}, "points[3]", "no point"),
        ({"points": [*LUX, [0, 9000, 0]]}, "points[3]", "outside"),
        ({"instrument": " "}, "instrument", "empty"),
        ({"due_on": date(2020, 1, 1)}, "due_on", "before"),
        ({"surveyed_on": date(2999, 1, 1)}, "surveyed_on", "not come"),
        ({"notes": "x" * 2001}, "notes", "characters"),
    ],
)
def test_a_survey_that_cannot_be_is_refused(
    manager: Person, given: dict[str, Any], path: str, word: str
) -> None:
    publish_floor_plan(by=manager.actor, content=FLOOR)
    for record in (_heights, _lights):
        with pytest.raises(Invalid) as refused:
            record(manager, **given)
        told = {error.path: error.says for error in refused.value.errors}
        assert word in told[path]
    assert not FloorSurvey.objects.exists()
    assert not LightSurvey.objects.exists()


@pytest.mark.parametrize("uncertainty", [0, -1, float("nan"), float("inf")])
def test_no_instrument_reads_without_uncertainty(manager: Person, uncertainty: float) -> None:
    with pytest.raises(Invalid):
        _heights(manager, reading_uncertainty_mm=uncertainty)
    with pytest.raises(Invalid):
        _lights(manager, reading_uncertainty_percent=uncertainty)


@pytest.mark.parametrize("lux", [-1, 250_000])
def test_light_below_darkness_or_beyond_a_meter_is_refused(manager: Person, lux: float) -> None:
    with pytest.raises(Invalid) as refused:
        _lights(manager, points=[*LUX, [100, 100, lux]])
    assert [error.path for error in refused.value.errors] == ["points[3]"]


def test_only_a_manager_records_a_survey(technician: Person, service_writer: Person) -> None:
    for person in (technician, service_writer):
        for record in (_heights, _lights):
            with pytest.raises(NotAllowed):
                record(person)


@pytest.mark.parametrize("act", ["update", "delete"])
def test_the_database_refuses_to_change_a_survey(manager: Person, act: str) -> None:
    for made in (_heights(manager), _lights(manager)):
        rows: Any = type(made).objects.all()
        with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
            rows.update(instrument="Other") if act == "update" else rows.delete()
        made.refresh_from_db()
        assert made.instrument in ("laser", "light meter")
