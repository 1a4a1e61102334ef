"""Procedures and their editions."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from jobs.models import Procedure, ProcedureEdition
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db


def publish(world: World, content: Any) -> Any:
    return world.manager.post(
        reverse("api:procedure-edition-list"),
        {"content": content},
        content_type="application/json",
    )


def newest(world: World, code: str) -> dict[str, Any]:
    row = ProcedureEdition.objects.filter(shop=world.here.shop, procedure__code=code)[0]
    return dict(row.content)


def test_the_next_edition_is_published_and_the_first_kept(world: World) -> None:
    content = newest(world, "rear_camera")
    answer = publish(world, {**content, "name": "Rear camera, revised"})
    assert answer.status_code == 201, answer.content
    assert answer.json()["number"] == 2
    both = world.writer.get(reverse("api:procedure-edition-list"), {"code": "rear_camera"}).json()
    assert sorted(row["number"] for row in both["results"]) == [1, 2]
    assert "content" not in both["results"][0]


def test_the_same_content_makes_no_new_edition(world: World) -> None:
    answer = publish(world, newest(world, "rear_camera"))
    assert (answer.status_code, answer.json()["number"]) == (201, 1)


@pytest.mark.parametrize("content", [None, [], "x", {}, {"code": "a"}])
def test_content_that_is_no_procedure_is_refused(world: World, content: Any) -> None:
    assert publish(world, content).status_code == 422


def test_every_fault_is_told_with_its_path(world: World) -> None:
    content = {**newest(world, "rear_camera"), "skills": 3, "cautions": [4]}
    answer = publish(world, content)
    assert answer.status_code == 422
    assert {"skills", "cautions[0]"} <= {e["path"] for e in answer.json()["errors"]}


def test_a_procedure_is_retired_unless_another_needs_it(world: World) -> None:
    rows = {p.code: p.pk for p in Procedure.objects.filter(shop=world.here.shop)}
    gone = world.manager.post(reverse("api:procedure-retire", args=[rows["rear_camera"]]))
    assert gone.status_code == 200, gone.content
    assert gone.json()["retired_at"]
    needed = world.manager.post(reverse("api:procedure-retire", args=[rows["wheel_alignment"]]))
    assert (needed.status_code, needed.json()["code"]) == (409, "needed_first")
    listed = world.writer.get(reverse("api:procedure-list"), {"retired": "true"}).json()
    assert [row["code"] for row in listed["results"]] == ["rear_camera"]
