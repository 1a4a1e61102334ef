"""Placements are worked out once for every process, and read back number for number."""

from __future__ import annotations

import json
from datetime import date, timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from bays import floor
from bays.models import FloorAnswer
from bays.services import answers
from jobs.planning.kept_places import kept_placements, read_back, written
from jobs.planning.space import clear_zone_of
from tests.jobs.planning.floors import BODY_ONLY, CAR, hall

WIDE = floor.ClearZone.from_content(
    {
        "parts": [
            {
                "rect": {
                    "from_x": {"datum": "rear", "offset_mm": -301.7},
                    "to_x": {"datum": "front", "offset_mm": 512.3},
                    "from_y": {"datum": "right", "offset_mm": -410.1},
                    "to_y": {"datum": "left", "offset_mm": 333.3},
                }
            }
        ],
        "position_tolerance_mm": 20,
        "angle_tolerance_deg": 0.7,
    }
)


@pytest.mark.parametrize("zone", [BODY_ONLY, WIDE])
def test_placements_come_back_exactly_as_they_were_computed(zone: floor.ClearZone) -> None:
    found = floor.search_placements(hall(), floor.resolve(zone, CAR))
    assert found.placements
    assert read_back(json.loads(json.dumps(written(found)))) == found


@pytest.mark.django_db(transaction=True)
def test_another_process_reads_what_one_has_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    first = kept_placements(hall(), CAR, WIDE)
    answers.forget_answers()  # as a process has it that has just started

    def never(*_: object) -> None:
        raise AssertionError("computed again")

    monkeypatch.setattr(floor, "search_placements", never)
    assert kept_placements(hall(), CAR, WIDE) == first
    assert FloorAnswer.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_another_floor_vehicle_or_clear_zone_is_another_answer() -> None:
    kept_placements(hall(), CAR, WIDE)
    kept_placements(hall(), CAR, BODY_ONLY)
    kept_placements(hall(door_mm=3000), CAR, WIDE)
    kept_placements(hall(), floor.VehicleShape(1851, 2790, 930, 1080, 1795), WIDE)
    assert FloorAnswer.objects.count() == 4
    kept_placements(hall(), floor.VehicleShape(1850.0, 2790, 930, 1080, 1795.0), WIDE)
    assert FloorAnswer.objects.count() == 4


@pytest.mark.django_db(transaction=True)
def test_nothing_is_written_inside_somebodys_transaction() -> None:
    with transaction.atomic():
        assert kept_placements(hall(), CAR, WIDE)
    assert not FloorAnswer.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_an_answer_nobody_can_read_is_computed_again() -> None:
    first = kept_placements(hall(), CAR, WIDE)
    FloorAnswer.objects.update(content=[{"key": "of another version"}])
    answers.forget_answers()
    assert kept_placements(hall(), CAR, WIDE) == first
    answers.forget_answers()
    assert kept_placements(hall(), CAR, WIDE) == first


@pytest.mark.django_db
def test_answers_nobody_uses_are_pruned_and_the_rest_is_bounded() -> None:
    today = timezone.now().date()

    def row(key: str, used_on: date) -> FloorAnswer:
        return FloorAnswer.objects.create(key=key, content=[], used_on=used_on)

    row("old", today - timedelta(days=answers.UNUSED_DAYS + 1))
    kept = [row(f"kept {n}", today - timedelta(days=n)) for n in range(5)]
    assert answers.prune_answers() == 1
    assert answers.prune_answers(most=3) == 2
    assert set(FloorAnswer.objects.values_list("key", flat=True)) == {r.key for r in kept[:3]}


@pytest.mark.django_db(transaction=True)
def test_an_answer_that_is_used_stays_young() -> None:
    kept_placements(hall(), CAR, WIDE)
    FloorAnswer.objects.update(used_on=date(2026, 1, 1))
    answers.forget_answers()
    kept_placements(hall(), CAR, WIDE)
    assert FloorAnswer.objects.get().used_on == timezone.now().date()


def test_memory_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(answers, "KEPT_IN_PROCESS", 3)
    for number in range(6):
        answers._remember(str(number), number)
    assert list(answers._known) == ["3", "4", "5"]


def test_a_procedure_without_a_clear_zone_needs_the_body_alone_clear() -> None:
    class Bare:
        clear_zone = None

    assert clear_zone_of(Bare()) == floor.ClearZone.from_content({"parts": []})  # type: ignore[arg-type]
