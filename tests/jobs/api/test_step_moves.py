"""A step's places, its moves by hand, and moves taken back, as programs ask for them.

Strangers, roles, methods, missing and foreign rows and old versions: see test_every_route.
"""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from jobs.models import Step
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db


def post_scan(world: World) -> Step:
    return Step.objects.get(visit=world.here.booked, kind="post_scan")


def places(world: World, step: Step, **query: str) -> Any:
    return world.writer.get(reverse("api:step-places", kwargs={"pk": step.pk}), query)


def move(world: World, step: Step, span: dict[str, Any], start: str, **more: Any) -> Any:
    body = {"starts_at": start, "place": span["place"], "technician": span["technician"], **more}
    return world.writer.post(
        reverse("api:step-move", kwargs={"pk": step.pk}),
        body,
        content_type="application/json",
        headers={"If-Match": f'"v{step.version}"'},
    )


def undo(world: World) -> Any:
    return world.writer.post(reverse("api:plan-undo-move"), content_type="application/json")


def test_a_step_is_asked_for_moved_and_put_back(world: World) -> None:
    step = post_scan(world)
    answer = places(world, step)
    assert answer.status_code == 200, answer.content
    told = answer.json()
    assert told["ro_number"] == world.here.booked.ro_number
    assert told["version"] == step.version
    spans = [s for row in told["rows"] if row["id"].startswith("person:") for s in row["spans"]]
    assert {s["place"] for s in spans if s["place"]} <= {p["id"] for p in told["places"]}
    assert all(s["says"] for s in spans if s["kind"] == "shut")
    span = [s for s in spans if s["kind"] == "open"][-1]
    made = move(world, step, span, span["last"])
    assert made.status_code == 200, made.content
    moved = post_scan(world)
    assert made["ETag"] == f'"v{moved.version}"'
    assert made.json()["changes"]
    assert moved.starts_at != step.starts_at
    back = undo(world)
    assert back.status_code == 200, back.content
    assert post_scan(world).starts_at == step.starts_at
    nothing = undo(world)
    assert (nothing.status_code, nothing.json()["code"]) == (409, "nothing_to_undo")


def test_a_move_that_takes_others_along_is_answered_with_what_they_are(world: World) -> None:
    step = Step.objects.get(visit=world.here.booked, kind="calibration")
    rows = places(world, step).json()["rows"]
    span = next(s for row in rows for s in row["spans"] if s["kind"] == "along")
    refused = move(world, step, span, span["last"])
    assert (refused.status_code, refused.json()["code"]) == (409, "moves_more")
    assert refused.json()["facts"]["along"] is True
    assert len(refused.json()["facts"]["changes"]) > 1
    assert move(world, step, span, span["last"], also_moves=True).status_code == 200


def test_a_place_that_is_none_is_refused_in_words(world: World) -> None:
    step = post_scan(world)
    span = {"place": "nowhere", "technician": "osei"}
    refused = move(world, step, span, "2026-10-06T12:00:00Z")
    assert (refused.status_code, refused.json()["code"]) == (409, "cannot_move")
    assert refused.json()["detail"]


@pytest.mark.parametrize("day", ["", "someday", "2026-13-01"])
def test_a_day_that_is_none_is_refused_beside_its_name(world: World, day: str) -> None:
    answer = places(world, post_scan(world), on=day)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["path"] == "on"


def test_another_day_is_answered_for_that_day(world: World) -> None:
    told = places(world, post_scan(world), on="2026-10-07").json()
    assert {s["first"][:10] for row in told["rows"] for s in row["spans"]} <= {
        "2026-10-07", "2026-10-08",
    }  # fmt: skip
