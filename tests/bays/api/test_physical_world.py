"""Floor, equipment, people and hours by the API, as a program sets a shop up and keeps it."""

from __future__ import annotations

import copy
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bays.models import Closure, EquipmentUnit, FloorPlanEdition, Resource, Technician
from tests.jobs.api.world import NOW, World

pytestmark = pytest.mark.django_db


def send(client: Client, method: str, route: str, body: Any, *args: Any, **headers: str) -> Any:
    return getattr(client, method)(
        reverse(f"api:{route}", args=args),
        data=body,
        content_type="application/json",
        headers=headers,
    )


# A pickup with a mirror camera: much floor on every side (common practice, no source).
PICKUP = {
    "width_mm": 2030,
    "wheelbase_mm": 3700,
    "front_overhang_mm": 950,
    "rear_overhang_mm": 1200,
    "tyre_track_outer_mm": 1930,
}
# AASHTO design passenger car: 19 x 7 ft, wheelbase 11 ft, overhangs 3 and 5 ft.
DESIGN_CAR = {
    "width_mm": 2134,
    "wheelbase_mm": 3353,
    "front_overhang_mm": 914,
    "rear_overhang_mm": 1524,
}


def around(mm: int) -> dict[str, Any]:
    return {
        "parts": [
            {
                "rect": {
                    "from_x": {"datum": "rear", "offset_mm": -mm},
                    "to_x": {"datum": "front", "offset_mm": mm},
                    "from_y": {"datum": "right", "offset_mm": -mm},
                    "to_y": {"datum": "left", "offset_mm": mm},
                }
            }
        ],
        "position_tolerance_mm": 50,
        "angle_tolerance_deg": 0.5,
    }


def test_a_design_car_fits_the_shop_with_room_around_it(world: World) -> None:
    body = {"vehicle": DESIGN_CAR, "clear_zone": around(1000)}
    answer = send(world.writer, "post", "placement-ask", body)
    assert answer.status_code == 200, answer.content
    found = answer.json()
    assert found["fits"] is True
    assert found["why_not"] is None
    first = found["placements"][0]
    assert first["margin_mm"] >= 50
    assert len(first["zones"]) <= len(found["placements"][-1]["zones"])


def test_a_clear_zone_that_fits_nowhere_is_answered_with_the_shortfall(world: World) -> None:
    body = {"vehicle": PICKUP, "clear_zone": around(6000)}
    found = send(world.writer, "post", "placement-ask", body).json()
    assert (found["fits"], found["placements"]) == (False, [])
    assert found["why_not"]["says"].startswith("The shop has no floor of")
    assert found["why_not"]["shortfalls"][0]["by_mm"] > 1000


def test_with_every_zone_taken_it_says_what_would_have_to_be_empty(world: World) -> None:
    zones = list(
        Resource.objects.filter(shop=world.here.shop, kind="zone").values_list("code", flat=True)
    )
    body = {"vehicle": DESIGN_CAR, "clear_zone": None, "occupied_zones": zones}
    found = send(world.writer, "post", "placement-ask", body).json()
    assert found["fits"] is False
    assert found["why_not"]["zones_to_empty"]
    assert " empty" in found["why_not"]["says"]


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"vehicle": {**PICKUP, "width_mm": 5}}, "vehicle.width_mm"),
        ({"clear_zone": {"parts": [{"rect": {}}]}}, "clear_zone.parts[0].rect"),
        ({"occupied_zones": ["bay-1", "bay-99"]}, "occupied_zones[1]"),
        ({"headings_deg": []}, "headings_deg"),
    ],
)
def test_a_question_with_a_fault_says_where(
    world: World, change: dict[str, Any], path: str
) -> None:
    body = {"vehicle": PICKUP, "clear_zone": None, **change}
    refused = send(world.writer, "post", "placement-ask", body)
    assert refused.status_code == 422
    assert any(e["path"].startswith(path) for e in refused.json()["errors"]), refused.json()


def test_a_new_drawing_becomes_the_edition_in_force(world: World) -> None:
    content = FloorPlanEdition.objects.get(shop=world.here.shop).content
    first = send(world.manager, "post", "floor-plan-list", {"content": content, "name": "Hall 2"})
    assert (first.status_code, first.json()["number"]) == (201, 2), first.content
    current = world.technician.get(reverse("api:floor-plan-current")).json()
    assert (current["number"], current["name"]) == (2, "Hall 2")
    rows = world.writer.get(reverse("api:floor-plan-list")).json()["results"]
    assert [row["number"] for row in rows] == [2, 1]
    assert "content" not in rows[0]


def test_every_fault_of_a_drawing_is_told_and_nothing_published(world: World) -> None:
    content = copy.deepcopy(FloorPlanEdition.objects.get(shop=world.here.shop).content)
    content["zones"][0]["polygon"] = [[0, 0]]
    content["doors"][0]["from"] = "west"
    refused = send(world.manager, "post", "floor-plan-list", {"content": content})
    assert (refused.status_code, refused.json()["code"]) == (422, "floor_plan_faults")
    assert {"zones[0].polygon", "doors[0].from"} <= {e["path"] for e in refused.json()["errors"]}
    assert FloorPlanEdition.objects.filter(shop=world.here.shop).count() == 1


def test_a_unit_is_taken_out_and_returned_by_its_version(world: World) -> None:
    unit = EquipmentUnit.objects.filter(shop=world.here.shop, type__code="scan_tool")[0]
    tag = world.technician.get(reverse("api:unit-detail", args=[unit.pk]))["ETag"]
    why = {"reason": "cable broken", "until": (NOW + timedelta(days=2)).isoformat()}
    out = send(world.technician, "post", "unit-take-out", why, unit.pk, **{"If-Match": tag})
    assert out.status_code == 200, out.content
    assert (out.json()["state"], out.json()["state_reason"]) == ("out_of_service", "cable broken")
    stale = send(world.manager, "post", "unit-return-unit", {}, unit.pk, **{"If-Match": tag})
    assert stale.status_code == 412
    back = send(world.manager, "post", "unit-return-unit", {}, unit.pk, **{"If-Match": out["ETag"]})
    assert back.json()["state"] == "in_service"


def test_upkeep_found_not_fit_takes_the_unit_out(world: World) -> None:
    unit = EquipmentUnit.objects.filter(shop=world.here.shop, type__code="tape_measure")[0]
    body = {"rule": "tape_check", "result": "not_fit", "note": "hook bent"}
    made = send(world.technician, "post", "unit-record", body, unit.pk)
    assert made.status_code == 201, made.content
    now = world.technician.get(reverse("api:unit-detail", args=[unit.pk])).json()
    assert now["state"] == "out_of_service"
    history = world.technician.get(reverse("api:upkeep-list"), {"unit": unit.pk}).json()
    assert history["results"][0]["note"] == "hook bent"


def test_what_is_overdue_comes_first_in_the_due_list(world: World) -> None:
    rows = world.technician.get(reverse("api:upkeep-due")).json()["due"]
    rank = ["overdue", "due soon", "fit"]
    states = [rank.index(row["state"]) for row in rows]
    assert states == sorted(states)
    assert all(row["says"] for row in rows)
    only = world.technician.get(reverse("api:upkeep-due"), {"state": "fit"}).json()["due"]
    assert {row["state"] for row in only} == {"fit"}
    assert world.technician.get(reverse("api:upkeep-due"), {"state": "x"}).status_code == 422


def test_a_type_a_rule_and_a_unit_are_added_once(world: World) -> None:
    kind = {"code": "angle_gauge", "name": "Angle gauge"}
    made = send(world.manager, "post", "equipment-type-list", kind)
    assert made.status_code == 201, made.content
    rule = {
        "equipment_type": made.json()["id"],
        "code": "gauge_zero",
        "name": "Zero check",
        "every_days": 30,
    }
    assert send(world.manager, "post", "upkeep-rule-list", rule).status_code == 201
    unit = {"type": "angle_gauge", "code": "gauge-1", "name": "Gauge 1", "serial": "AG-1"}
    added = send(world.manager, "post", "unit-list", unit)
    assert added.status_code == 201, added.content
    assert [row["rule"] for row in added.json()["upkeep"]] == ["gauge_zero"]
    again = send(world.manager, "post", "unit-list", unit)
    assert (again.status_code, again.json()["code"]) == (422, "code_taken")
    lost = send(world.manager, "post", "unit-list", {**unit, "code": "g2", "type": "nothing"})
    assert lost.json()["errors"][0]["path"] == "type"


def test_skills_and_shifts_are_each_set_as_a_whole(world: World) -> None:
    person = Technician.objects.get(shop=world.here.shop, code="lind")
    address = reverse("api:technician-detail", args=[person.pk])
    tag = world.manager.get(address)["ETag"]
    skills = {"skills": [{"skill": "radar", "valid_until": "2027-01-31"}]}
    set_ = send(world.manager, "put", "technician-skills", skills, person.pk, **{"If-Match": tag})
    assert set_.status_code == 200, set_.content
    assert [row["skill"] for row in set_.json()["skills"]] == ["radar"]
    shifts = {"shifts": [{"weekday": 0, "starts": "08:00", "ends": "07:00"}]}
    wrong = send(world.manager, "put", "technician-shifts", shifts, person.pk, **{"If-Match": "*"})
    assert wrong.json()["errors"][0]["path"] == "shifts[0].ends"
    off = {"active": False}
    done = send(world.manager, "patch", "technician-detail", off, person.pk, **{"If-Match": "*"})
    assert done.json()["active"] is False
    listed = world.writer.get(reverse("api:technician-list"), {"skill": "radar", "active": "true"})
    assert "lind" not in {row["code"] for row in listed.json()["results"]}


def test_opening_hours_are_one_week(world: World) -> None:
    week = {"hours": [{"weekday": 2, "opens": "07:30", "closes": "12:00"}]}
    answer = send(world.manager, "put", "opening-hours", week)
    assert answer.status_code == 200, answer.content
    now = world.writer.get(reverse("api:opening-hours")).json()["hours"]
    assert now == [{"weekday": 2, "opens": "07:30:00", "closes": "12:00:00"}]


def test_a_closure_is_added_once_and_removed(world: World) -> None:
    body = {"starts_on": "2026-11-26", "ends_on": "2026-11-27", "reason": "holiday"}
    for _ in range(2):
        made = send(world.manager, "post", "closure-list", body, **{"Idempotency-Key": "shut-1"})
        assert made.status_code == 201, made.content
    assert Closure.objects.filter(shop=world.here.shop, reason="holiday").count() == 1
    gone = world.manager.delete(reverse("api:closure-detail", args=[made.json()["id"]]))
    assert gone.status_code == 204
    assert not Closure.objects.filter(shop=world.here.shop, reason="holiday").exists()


def test_another_shops_technician_cannot_be_sent_away(world: World) -> None:
    person = Technician.objects.get(shop=world.there.shop, code="lind")
    body = {
        "technician": person.pk,
        "starts_at": NOW.isoformat(),
        "ends_at": (NOW + timedelta(hours=1)).isoformat(),
    }
    refused = send(world.manager, "post", "absence-list", body)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["path"] == "technician"


def test_the_shop_file_comes_back_in_and_changes_nothing(world: World) -> None:
    document = world.manager.get(reverse("api:shop-file")).json()
    answer = send(world.manager, "post", "shop-file", document)
    assert answer.status_code == 200, answer.content
    assert answer.json()["changed"] is False


def test_a_shop_file_with_faults_changes_nothing_and_lists_all(world: World) -> None:
    document = world.manager.get(reverse("api:shop-file")).json()
    document["skills"] = [*document["skills"], {"code": "new skill", "name": ""}]
    document["colour"] = "green"
    refused = send(world.manager, "post", "shop-file", document)
    assert (refused.status_code, refused.json()["code"]) == (422, "document_faults")
    paths = {e["path"] for e in refused.json()["errors"]}
    at = len(document["skills"]) - 1
    assert {f"skills[{at}].code", f"skills[{at}].name", "colour"} <= paths


@pytest.mark.parametrize("content", [[], '"x"', 4])
def test_a_shop_file_that_is_no_object_is_refused(world: World, content: Any) -> None:
    assert send(world.manager, "post", "shop-file", content).status_code == 422
