"""When the day breaks: each act records what happened and answers with what changed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from bays.models import Absence, EquipmentUnit, Hold, Technician
from jobs.models import Step
from tests.jobs.api.world import NOW, World

pytestmark = pytest.mark.django_db


def act(world: World, name: str, body: dict[str, Any], **headers: str) -> Any:
    return world.manager.post(
        reverse(f"api:plan-{name}"), body, content_type="application/json", headers=headers
    )


def test_somebody_away_has_their_steps_given_to_others(world: World) -> None:
    step = Step.objects.filter(visit=world.here.booked, technician__isnull=False)[0]
    person = step.technician
    assert person is not None
    body = {
        "technician": person.pk,
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW + timedelta(days=1)).isoformat(),
        "reason": "ill",
    }
    answer = act(world, "technician-out", body)
    assert answer.status_code == 200, answer.content
    assert answer.json()["unchanged"] is False
    step.refresh_from_db()
    moved = step.technician_id != person.pk
    assert moved or (step.starts_at and step.starts_at >= NOW + timedelta(days=1))
    assert Absence.objects.filter(technician=person, reason="ill").count() == 1


def test_an_absence_sent_again_is_recorded_once(world: World) -> None:
    person = Technician.objects.get(shop=world.here.shop, code="lind")
    body = {
        "technician": person.pk,
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW + timedelta(hours=3)).isoformat(),
        "reason": "dentist",
    }
    for _ in range(2):
        answer = act(world, "technician-out", body, **{"Idempotency-Key": "away-1"})
        assert answer.status_code == 200, answer.content
    assert Absence.objects.filter(technician=person, reason="dentist").count() == 1


def test_another_shops_technician_is_not_known(world: World) -> None:
    person = Technician.objects.get(shop=world.there.shop, code="lind")
    body = {
        "technician": person.pk,
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW + timedelta(hours=3)).isoformat(),
        "reason": "ill",
    }
    answer = act(world, "technician-out", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "technician"


def test_a_unit_is_taken_out_and_the_plan_goes_on(world: World) -> None:
    unit = EquipmentUnit.objects.filter(shop=world.here.shop, type__code="scan_tool")[0]
    answer = act(world, "unit-out", {"unit": unit.pk, "reason": "cable broken"})
    assert answer.status_code == 200, answer.content
    unit.refresh_from_db()
    assert unit.state == EquipmentUnit.State.OUT_OF_SERVICE


def test_a_zone_is_closed_and_held(world: World) -> None:
    starts_at = NOW + timedelta(days=10)
    body = {
        "zone": "bay-1",
        "starts_at": starts_at.isoformat(),
        "ends_at": (starts_at + timedelta(hours=2)).isoformat(),
        "reason": "painting",
    }
    answer = act(world, "zone-closed", body)
    assert answer.status_code == 200, answer.content
    held = Hold.objects.get(shop=world.here.shop, reason="closed")
    assert (held.resource.code, held.note) == ("bay-1", "painting")


@pytest.mark.parametrize("zone", ["bay-99", ""])
def test_a_zone_that_is_none_is_refused(world: World, zone: str) -> None:
    body = {
        "zone": zone,
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW + timedelta(hours=2)).isoformat(),
        "reason": "painting",
    }
    assert act(world, "zone-closed", body).status_code == 422


def test_a_span_that_ends_before_it_starts_is_refused(world: World) -> None:
    body = {
        "zone": "bay-1",
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW - timedelta(hours=2)).isoformat(),
        "reason": "painting",
    }
    answer = act(world, "zone-closed", body)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "ends_at"


def test_repairing_a_sound_plan_moves_nothing(world: World) -> None:
    answer = act(world, "repair", {"why": "to see"})
    assert answer.status_code == 200, answer.content
    assert answer.json() == {
        "why": "to see",
        "unchanged": True,
        "changes": [],
        "promises": [],
        "waits": False,
        "proposal": None,
    }


def test_only_a_step_being_done_can_run_long(world: World) -> None:
    step = Step.objects.filter(visit=world.here.booked)[0]
    ends_at = (NOW + timedelta(hours=2)).isoformat()
    assert act(world, "runs-long", {"step": step.pk, "ends_at": ends_at}).status_code == 422
