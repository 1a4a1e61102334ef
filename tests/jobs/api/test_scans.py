"""Scans entered as text or as files, and compared."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from bays.models import EquipmentUnit
from tests.jobs.api.world import World

pytestmark = pytest.mark.django_db


def enter(world: World, **body: Any) -> Any:
    whole = {"visit": world.here.in_work.pk, "kind": "post", **body}
    address = reverse("api:scan-list")
    return world.technician.post(address, whole, content_type="application/json")


def test_codes_are_read_from_text(world: World) -> None:
    tool = EquipmentUnit.objects.filter(shop=world.here.shop, type__code="scan_tool")[0]
    answer = enter(world, text="B1234\nU0100-87", tool=tool.pk)
    assert answer.status_code == 201, answer.content
    assert [c["code"] for c in answer.json()["codes"]] == ["B1234", "U0100"]
    assert answer.json()["tool"] == tool.pk


def test_codes_are_read_from_csv(world: World) -> None:
    answer = enter(world, csv="module,code,status\nFront camera,C1A2B-16,stored\n")
    assert answer.status_code == 201, answer.content
    assert (answer.json()["entered"], answer.json()["modules_scanned"]) == ("csv", ["Front camera"])


def test_a_line_that_is_no_code_is_told_with_its_place(world: World) -> None:
    answer = enter(world, text="B1234\nnothing here")
    assert (answer.status_code, answer.json()["code"]) == (422, "scan")
    assert "2" in answer.json()["errors"][0]["path"]


def test_two_ways_at_once_are_refused(world: World) -> None:
    assert enter(world, text="B1234", none_found=True).status_code == 422


def test_another_shops_visit_or_tool_is_not_known(world: World) -> None:
    tool = EquipmentUnit.objects.filter(shop=world.there.shop)[0]
    for wrong in ({"visit": world.there.in_work.pk}, {"tool": tool.pk}):
        answer = enter(world, text="B1234", **wrong)
        assert answer.status_code == 422, answer.content
        assert answer.json()["errors"][0]["path"] == next(iter(wrong))


def test_pre_and_post_are_compared_and_a_code_that_stays_is_explained(world: World) -> None:
    scan = enter(world, text="P0420 C0040").json()
    compared = world.writer.get(reverse("api:scan-compare", args=[scan["id"]])).json()
    told = {name: [c["code"] for c in compared[name]] for name in ("cleared", "remaining", "new")}
    assert told == {"cleared": ["B1234"], "remaining": ["P0420"], "new": ["C0040"]}
    stays = compared["remaining"][0]["id"]
    answer = world.technician.post(
        reverse("api:scan-code-explain", args=[stays]),
        {"why": "engine work is booked elsewhere"},
        content_type="application/json",
    )
    assert answer.status_code == 200, answer.content
    again = world.writer.get(reverse("api:scan-compare", args=[scan["id"]])).json()
    assert [c["code"] for c in again["unexplained"]] == ["C0040"]
    seen = world.technician.post(
        reverse("api:visit-confirm-comparison", args=[world.here.in_work.pk]),
        {},
        content_type="application/json",
        headers={"If-Match": "*"},
    )
    assert seen.status_code == 200, seen.content
